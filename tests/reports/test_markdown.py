"""Markdown that keeps values exact and words harmless."""

import re

from hypothesis import given
from hypothesis import strategies as st

from orchestrator.reports import markdown


def spans(text: str) -> list[str]:
    """Code spans as CommonMark 0.31 (section 6.1) reads them, written from memory."""
    found = []
    for match in re.finditer(r"(?<!`)(`+)(?!`)(.+?)(?<!`)\1(?!`)", text, re.DOTALL):
        inner = match.group(2)
        if inner.strip() and inner[0] == inner[-1] == " ":
            inner = inner[1:-1]
        found.append(inner)
    return found


@given(st.text("ab`* _", min_size=1, max_size=12))
def test_a_value_is_read_as_it_is(value: str) -> None:
    """A code span gives back the value, backticks and all (blanks alone aside)."""
    (line,) = markdown.paragraph(f"set {markdown.code(value)} now")
    if value.strip() and not (value[0] == value[-1] == " "):
        assert spans(line) == [value]


@given(st.lists(st.text("abc", min_size=1, max_size=9), min_size=1, max_size=40))
def test_paragraphs_fit_and_values_are_never_broken(values: list[str]) -> None:
    """Values of two words stay on one line, and no line leaves 80 columns."""
    pairs = [f"{value}  {value}" for value in values]
    lines = markdown.paragraph(" ".join(map(markdown.code, pairs)), "12. ")
    assert all(len(line) <= 80 for line in lines)
    assert [span for line in lines for span in spans(line)] == pairs
    assert lines[0].startswith("12. ")
    assert all(line.startswith("    ") for line in lines[1:])


def test_words_from_elsewhere_don_t_act_as_markdown() -> None:
    """Stars, brackets and strokes are escaped; an underscore inside a word is left."""
    assert markdown.prose("*a* [b] <c>") == r"\*a\* \[b\] \<c\>"
    assert markdown.prose("ptp_domain _x_") == r"ptp_domain \_x\_"
    assert markdown.prose("two\nlines") == r"two\\nlines"


def test_control_characters_are_shown_as_their_code() -> None:
    """A value that a terminal would obey is shown, not sent."""
    assert markdown.code("a\x1bb") == "`a\\x1bb`"


def test_an_empty_value_is_still_a_span() -> None:
    """An empty value does not swallow what follows."""
    assert markdown.code("").startswith("`")
    assert markdown.bullet("x")[0] == "- x"
    assert markdown.section("T", 3) == ["", "### T", ""]
