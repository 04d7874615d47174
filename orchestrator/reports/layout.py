"""Laying out text for a terminal of 80 columns: wrapped paragraphs and tables."""

import textwrap
from collections.abc import Iterable, Sequence

WIDTH = 80
_GAP = "  "


def plain(text: str) -> str:
    """``text`` on one line and without control characters.

    Labels and words come from devices: what a terminal would obey is shown as its code.
    """
    if text.isprintable():
        return text
    shown = "".join(
        char if char.isprintable() else char.encode("unicode_escape", "backslashreplace").decode()
        for char in text
    )
    return shown.encode(errors="backslashreplace").decode()


def heading(text: str) -> list[str]:
    """A heading with a rule under it and an empty line before."""
    lines = wrap(text)
    return ["", *lines, "-" * max(map(len, lines))]


def wrap(text: str, indent: int = 0, hang: int = 0) -> list[str]:
    """``text`` in lines of at most 80 columns, ``indent`` in, further lines ``hang`` more."""
    return textwrap.wrap(
        plain(text),
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hang),
        break_on_hyphens=False,
    ) or [""]


def item(mark: str, text: str, indent: int = 0) -> list[str]:
    """``text`` after ``mark`` (a number, a name), further lines under the text.

    A mark that would take half of the line stands on lines of its own.
    """
    if indent + len(mark) > WIDTH // 2:
        return [*wrap(mark, indent), *wrap(text, indent + 4)]
    lines = wrap(text, indent + len(mark) + 1)
    lines[0] = " " * indent + mark + lines[0][indent + len(mark) :]
    return lines


def table(head: Sequence[str], rows: Iterable[Sequence[str]], indent: int = 2) -> list[str]:
    """A table of at most 80 columns; a cell that is too wide is wrapped inside its column.

    Names such as ``device/source`` are broken after the stroke where they have to be.
    """
    cells = [[plain(cell) for cell in row] for row in (head, *rows)]
    widths = _widths(cells, WIDTH - indent - len(_GAP) * (len(head) - 1))
    lines: list[str] = []
    for number, row in enumerate(cells):
        lines += _row(row, widths, indent)
        if number == 0:
            lines.append(" " * indent + _GAP.join("-" * width for width in widths))
    return lines


def _row(row: Sequence[str], widths: Sequence[int], indent: int) -> list[str]:
    wrapped = [_cell(cell, width) for cell, width in zip(row, widths, strict=True)]
    return [
        (
            " " * indent
            + _GAP.join(
                (column[line] if line < len(column) else "").ljust(width)
                for column, width in zip(wrapped, widths, strict=True)
            )
        ).rstrip()
        for line in range(max(map(len, wrapped)))
    ]


_BREAK = "\0"  # plain() leaves no such character in a cell


def _cell(cell: str, width: int) -> list[str]:
    if len(cell) <= width:
        return [cell.strip()]
    lines = textwrap.wrap(cell.replace("/", f"/{_BREAK} "), width, break_on_hyphens=False)
    return [line.replace(f"{_BREAK} ", "").replace(_BREAK, "") for line in lines] or [""]


def _widths(cells: Sequence[Sequence[str]], room: int) -> list[int]:
    """The width of each column: as wide as its widest cell, the widest giving way first."""
    widths = [max(1, *(len(row[at]) for row in cells)) for at in range(len(cells[0]))]
    while sum(widths) > room:
        widths[widths.index(max(widths))] -= 1
    return widths


_MINUTE = 60
_EXACT_BELOW = 10


def seconds(amount: float) -> str:
    """A length of time in words: ``0.4 s``, ``12 s``, ``3 min 5 s``, ``2 h 10 min``."""
    if amount < _EXACT_BELOW:
        return f"{amount:.1f} s"
    whole = round(amount)
    if whole < _MINUTE:
        return f"{whole} s"
    minutes, rest = divmod(whole, _MINUTE)
    if minutes < _MINUTE:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(minutes, _MINUTE)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"
