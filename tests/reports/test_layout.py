"""Text fits 80 columns, whatever it is made of."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.reports import layout

WORDS = st.text("abc -,.äß", max_size=200)


@given(WORDS, st.integers(0, 20), st.integers(0, 6))
def test_paragraphs_fit(text: str, indent: int, hang: int) -> None:
    """A paragraph never leaves 80 columns, and loses no letter."""
    lines = layout.wrap(text, indent, hang)
    assert all(len(line) <= layout.WIDTH for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@given(st.text("abc-", min_size=1, max_size=120), WORDS, st.integers(0, 8))
def test_entries_fit(mark: str, text: str, indent: int) -> None:
    """An entry with a mark of any length never leaves 80 columns."""
    assert all(len(line) <= layout.WIDTH for line in layout.item(mark, text, indent))


@given(st.lists(st.tuples(WORDS, WORDS, WORDS, WORDS), max_size=4))
def test_tables_fit_and_lose_nothing(rows: list[tuple[str, str, str, str]]) -> None:
    """A table never leaves 80 columns, and every letter of every cell is in it."""
    lines = layout.table(("a", "b", "c", "d"), rows)
    assert all(len(line) <= layout.WIDTH for line in lines)
    letters = "".join(cell for row in rows for cell in row)
    for char in set(letters) - {" ", "-"}:
        assert "".join(lines[2:]).count(char) == letters.count(char)


def test_a_table_puts_cells_under_their_heads() -> None:
    """Columns are as wide as they have to be and stand under one another."""
    assert layout.table(("device", "as found"), [("north", "311"), ("s", "nothing")]) == [
        "  device  as found",
        "  ------  --------",
        "  north   311",
        "  s       nothing",
    ]


def test_a_name_is_broken_after_its_stroke() -> None:
    """A name that is too wide for its column is broken after the stroke, and the stroke stays."""
    lines = layout.table(("a", "b"), [("studio-south-engine/" + "x" * 30, "y" * 40)])
    assert lines[2].split()[0] == "studio-south-engine/"
    assert lines[3].split()[0] == "x" * 30


def test_what_a_terminal_would_obey_is_shown_as_its_code() -> None:
    """A label from a device can't move the cursor, colour the text or break the line."""
    assert layout.plain("a\x1b[31mb\r\nc\u202ed") == "a\\x1b[31mb\\r\\nc\\u202ed"
    assert layout.plain("N-PGM ä 1") == "N-PGM ä 1"
    assert "\x1b" not in "".join(layout.table(("a",), [("\x1b[2J",)]))
    assert layout.plain("\ud800") == "\\ud800"


@pytest.mark.parametrize(
    ("amount", "said"),
    [
        (0.0, "0.0 s"),
        (2.04, "2.0 s"),
        (12.4, "12 s"),
        (60.0, "1 min"),
        (75.2, "1 min 15 s"),
        (3600.0, "1 h"),
        (7800.0, "2 h 10 min"),
    ],
)
def test_lengths_of_time_in_words(amount: float, said: str) -> None:
    """Short times keep a tenth; long ones are in minutes and hours."""
    assert layout.seconds(amount) == said


def test_a_heading_has_a_rule_as_long_as_itself() -> None:
    """An empty line, the heading, its rule."""
    assert layout.heading("At risk") == ["", "At risk", "-------"]
