"""Markdown that reads well both rendered and as it stands, on paper."""

import re
import textwrap

from orchestrator.reports.layout import WIDTH, plain

_BLANK = "\N{NO-BREAK SPACE}"  # plain() has turned those of the text itself into their code


def code(value: object) -> str:
    """A value exactly as it is to be typed, as a code span; control characters as their code."""
    text = plain(str(value))
    longest = max(map(len, re.findall("`+", text)), default=0)
    fence = "`" * (longest + 1)
    pad = " " if not text.strip() or "`" in (text[0], text[-1]) else ""
    return f"{fence}{pad}{text}{pad}{fence}".replace(" ", _BLANK)


def prose(text: str) -> str:
    """Words from elsewhere (a title, a device's answer) that must not act as Markdown."""
    shown = re.sub(r"([\\`*\[\]<>#|])", r"\\\1", plain(text))
    return re.sub(r"(?<![^\W_])_|_(?![^\W_])", r"\\_", shown)  # inside a word it is just itself


def paragraph(text: str, mark: str = "") -> list[str]:
    """``text`` wrapped to 80 columns after ``mark`` (a list's); a value is never broken."""
    lines = textwrap.wrap(
        text,
        WIDTH,
        initial_indent=mark,
        subsequent_indent=" " * len(mark),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_BLANK, " ") for line in lines or [mark.rstrip()]]


def bullet(text: str) -> list[str]:
    """One entry of a list."""
    return paragraph(text, "- ")


def section(title: str, level: int = 2) -> list[str]:
    """A heading, with the empty lines that it needs."""
    return ["", f"{'#' * level} {title}", ""]
