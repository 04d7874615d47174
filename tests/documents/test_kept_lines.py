"""Lines that were not meant stay as they were written."""

from orchestrator.documents.kept_lines import with_kept_lines


def test_only_the_edited_line_is_new() -> None:
    """Odd spacing survives wherever the writer alone would have changed it."""
    original = "a:   1\nb: { c: 2 }\nd:  3\n"
    unedited = "a: 1\nb: {c: 2}\nd: 3\n"
    edited = "a: 1\nb: {c: 5}\nnew: 4\nd: 3\n"
    assert with_kept_lines(original, unedited, edited) == "a:   1\nb: {c: 5}\nnew: 4\nd:  3\n"


def test_lines_that_go_are_gone() -> None:
    """Taken out is taken out."""
    assert with_kept_lines("a:  1\nb:  2\n", "a: 1\nb: 2\n", "b: 2\n") == "b:  2\n"


def test_lines_that_can_not_be_paired() -> None:
    """Where the writer breaks lines otherwise, its text is taken as it is."""
    assert with_kept_lines("a: 1\n\n", "a: 1\n", "a: 2\n") == "a: 2\n"
