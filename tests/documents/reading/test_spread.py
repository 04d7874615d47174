"""Ranges in keys and texts."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.documents.reading.spread import SpreadError, expand, holds_range, number_range


@pytest.mark.parametrize(
    ("text", "members"),
    [
        ("mix-minus-{1..4}", ("mix-minus-1", "mix-minus-2", "mix-minus-3", "mix-minus-4")),
        ("{8..10}", ("8", "9", "10")),
        ("in-{01..03}-l", ("in-01-l", "in-02-l", "in-03-l")),
        ("a{7..7}", ("a7",)),
        ("plain", ("plain",)),
        ("{key}", ("{key}",)),
        ("{1..}", ("{1..}",)),
    ],
)
def test_expanding(text: str, members: tuple[str, ...]) -> None:
    """Members in order, with their leading zeros; what is no range is itself."""
    assert expand(text) == members
    assert holds_range(text) == (members != (text,))


@given(first=st.integers(0, 5000), length=st.integers(0, 300), before=st.text("ab-", max_size=3))
def test_every_number_once(first: int, length: int, before: str) -> None:
    """From the first to the last, both included."""
    found = expand(f"{before}{{{first}..{first + length}}}")
    assert found == tuple(f"{before}{number}" for number in range(first, first + length + 1))


@pytest.mark.parametrize(
    ("text", "what", "fix"),
    [
        ("{1..2}-{1..2}", "holds 2 ranges", "one range"),
        ("{4..1}", "runs backwards", "{1..4}"),
        ("{1..99999}", "more than 4096", "shorter"),
    ],
)
def test_ranges_that_can_not_be_spread(text: str, what: str, fix: str) -> None:
    """Told with the fix."""
    with pytest.raises(SpreadError) as caught:
        expand(text)
    assert what in caught.value.what
    assert fix in caught.value.fix


def test_ranges_of_numbers() -> None:
    """First and last; anything else is none."""
    assert number_range("411-414") == (411, 414)
    for text in ("411", "a-b", "-1-2", "1-2-3", "1 - 2", "1.0-2"):
        assert number_range(text) is None
