"""A document's values know where they stand."""

import json

from hypothesis import given
from hypothesis import strategies as st

from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.reading.tree import Fault, Place, Tree

TEXT = """\
a: 1
b:
  c: [x, yy]
  in-{1..3}: {d: true}
  in-2x: 5
"""


def tree(text: str = TEXT) -> Tree:
    """A document read."""
    return yaml_reader.read(text.encode(), "x.yaml")[0]


def test_places() -> None:
    """A scalar or list is pointed at itself, a mapping by its key."""
    some = tree()
    assert some.place(("a",)) == Place(1, 4)
    assert some.place(("a",), at_key=True) == Place(1, 1)
    assert some.place(("b",)) == Place(2, 1)
    assert some.place(("b", "c")) == Place(3, 6)
    assert some.place(("b", "c", 1)) == Place(3, 10)


def test_a_member_of_a_key_range_is_found_at_the_range() -> None:
    """By the member's own name; a name that only looks like one is not."""
    some = tree()
    assert some.place(("b", "in-2", "d")) == Place(4, 18)
    assert some.node(("b", "in-3")) is some.node(("b", "in-{1..3}"))
    assert some.node(("b", "in-4")) is None


def test_what_is_not_there_is_told_at_what_is_around_it() -> None:
    """The nearest thing that does stand somewhere; at worst the document's beginning."""
    some = tree()
    assert some.place(("b", "in-2", "gone", "further")) == Place(4, 3)
    assert some.place(("a", "deeper")) == Place(1, 4)
    assert some.place(("gone",)) == Place(1, 1)
    assert some.place(("b", "c", 9)) == Place(3, 6)


def test_a_problem_shows_its_line() -> None:
    """File, line, column, and the line as it stands."""
    found = tree().problem(Fault(("b", "in-2", "d"), "what", "fix"))
    assert (found.file, found.line, found.column) == ("x.yaml", 4, 18)
    assert found.excerpt == "  in-{1..3}: {d: true}"


def test_lines_are_counted_as_the_parser_counts_them() -> None:
    """Windows line ends, and the separators that YAML 1.1 calls line breaks."""
    some = tree("a: 1\r\nb: 2\rc: 3\u2028d: 4\n")
    assert [some.place((key,)).line for key in "abcd"] == [1, 2, 3, 4]
    assert some.excerpt(4) == "d: 4"


def test_what_could_be_a_secret_is_not_shown() -> None:
    """Nor is a line too long to be read."""
    some = tree("user: a\npassword: b\n'api-key' : c\npassing: d\nlong: " + "x" * 2000)
    assert [some.excerpt(line) for line in (1, 2, 3, 5, 9, 0)] == ["user: a", "", "", "", "", ""]


values = st.recursive(
    st.none() | st.booleans() | st.integers(-999, 999) | st.text("abc", max_size=3),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("xyz", min_size=1), inner),
    max_leaves=8,
)


@given(document=st.dictionaries(st.text("xyz", min_size=1), values, min_size=1))
def test_values_come_out_as_they_went_in(document: dict[str, object]) -> None:
    """JSON is YAML 1.2: written by another, read the same."""
    assert tree(json.dumps(document)).plain() == document
