"""Any mutation of a document's text is read or refused; nothing else ever comes of it."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from orchestrator.documents.folder import load_checked
from orchestrator.errors import DocumentError, Problem, problem_words

Write = Callable[..., Path]
NAMES = ("plan.yaml", "playbooks/north.yaml", "devices/tamarisk-node.yaml")
PIECES = st.one_of(
    st.text(max_size=6),
    st.sampled_from(
        [
            *(":", "- ", "{", "}", "[", "]", "&a ", "*a", "!x ", "<<: ", "{1..4}", "{4..1}"),
            *("'", '"', "#", "\t", "\n", "\r", "\x00", "\ufeff", "null", "~", "-1", "1e999"),
            *("0x1F", "9" * 50, "\u2028", "---\n", "...\n", "? ", "| \n", "%", ".nan", "{1..}"),
        ]
    ),
)


def told(folder: Path) -> tuple[Problem, ...]:
    """What is wrong with a facility, if anything; any other exception ends the test."""
    try:
        load_checked(folder)
    except DocumentError as error:
        return error.problems
    return ()


@settings(
    max_examples=250,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(data=st.data())
def test_a_mutated_document_is_read_or_refused(
    facility: Write, texts: dict[str, str], data: st.DataObject
) -> None:
    """Only a document error, and every problem is well placed and in our own words."""
    name = data.draw(st.sampled_from(NAMES))
    text = texts[name]
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        end = data.draw(st.integers(start, min(len(text), start + 30)))
        text = text[:start] + data.draw(PIECES) + text[end:]
    stem = Path(name).stem.replace("-", "_")
    folder = facility(**{stem: text.encode("utf-8", "surrogatepass")})
    for problem in told(folder):
        words = problem_words(problem)
        assert problem.file in texts, words
        assert problem.what, words
        assert problem.fix, words
        assert "pydantic" not in words
        assert "Input should" not in words
        assert (problem.line > 0) == (problem.column > 0), words


@pytest.mark.parametrize("name", NAMES)
def test_a_document_cut_short_is_read_or_refused(
    facility: Write, texts: dict[str, str], name: str
) -> None:
    """Cut at the end of every line, and in the middle of it."""
    stem = Path(name).stem.replace("-", "_")
    lines = texts[name].splitlines(keepends=True)
    for count in range(0, len(lines), 3):
        for text in ("".join(lines[:count]), "".join(lines[:count]) + lines[count][:7]):
            problems = told(facility(**{stem: text}))
            assert all(problem.what and problem.fix for problem in problems)
