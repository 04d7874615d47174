"""The parser's troubles in words that say what to do."""

import pytest
import yaml

from orchestrator.documents.reading.yaml_words import in_words


def words(text: str) -> tuple[int, int, str, str]:
    """What is said of a text that the library refuses."""
    with pytest.raises(yaml.YAMLError) as caught:
        list(yaml.parse(text, Loader=yaml.SafeLoader))
    return in_words(caught.value, text)


@pytest.mark.parametrize(
    ("text", "line", "column", "what", "fix"),
    [
        ("a: b: c", 1, 5, "a ':' stands where no value can begin", "quotes"),
        ("a:\n\tb: 1", 2, 1, "a tab", "spaces"),
        ("a: %b", 1, 4, "can't begin with '%'", "quotes"),
        ("a: {b: 1\nc: 2", 1, 4, "not closed", "close it"),
        ("a: [b c: d", 1, 4, "not closed", "close it"),
        ("a: {in-{1..4}: 5}", 1, 8, "brace", "quotes round a range"),
        ('a: "b', 1, 4, "a quote that opens here", "same quote"),
        ('a: "\\q"', 1, 6, "backslash", "single quotes"),
        ("a: - b", 1, 4, "'- ' can't stand here", "own line"),
        ("a:\n  b: 1\n c: 2", 3, 2, "does not line up", "indentation"),
    ],
)
def test_common_slips(text: str, line: int, column: int, what: str, fix: str) -> None:
    """Placed where a person looks for them."""
    found = words(text)
    assert found[:2] == (line, column)
    assert what in found[2]
    assert fix in found[3]


def test_what_has_no_words_of_ours_is_passed_on() -> None:
    """An error that nobody foresaw still says something, and where if it is known."""
    mark = yaml.Mark("x", 3, 0, 3, "abcdef", 3)
    line, column, what, _ = in_words(yaml.MarkedYAMLError(None, None, "odd", mark), "abcdef")
    assert (line, column) == (1, 4)
    assert "odd" in what
    assert in_words(yaml.YAMLError("odd"), "")[:2] == (0, 0)
