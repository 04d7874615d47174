"""Printing, and errors in words."""

import json

import pytest
import typer

from orchestrator.cli.show import end, show, show_error, show_json
from orchestrator.errors import CallError, DocumentError, Problem


def test_text_ends_with_one_line_break(capsys: pytest.CaptureFixture[str]) -> None:
    """However many it had."""
    show("two\nlines\n\n")
    assert capsys.readouterr().out == "two\nlines\n"


def test_json_is_one_document_in_any_script(capsys: pytest.CaptureFixture[str]) -> None:
    """Names are shown as they are written, not as escapes."""
    show_json({"room": "Regiestuhl Ü"})
    out = capsys.readouterr().out
    assert "Ü" in out
    assert json.loads(out) == {"room": "Regiestuhl Ü"}


@pytest.mark.parametrize(
    "document",
    [
        {},
        {"a": None, "b": [], "c": {}, "d": [1, "two", None], "e": {"f": [{"g": 1}], "h": "x\ny"}},
        {"rows": [{"id": "s1", "after": []}, {"id": "s2", "after": ["s1"], "as_found": None}]},
        {"rows": [[1, 2], [3]], 'ä"': True},
        {"rows": [{}, 7, "mixed"]},
    ],
)
def test_json_reads_back_as_it_was(
    document: dict[str, object], capsys: pytest.CaptureFixture[str]
) -> None:
    """Whatever it holds."""
    show_json(document)
    assert json.loads(capsys.readouterr().out) == document


def test_a_list_of_entries_has_one_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    """So that lines can be counted, searched and compared."""
    show_json({"schema": "x", "steps": [{"id": "s1", "after": []}, {"id": "s2", "after": ["s1"]}]})
    assert capsys.readouterr().out.splitlines() == [
        "{",
        '  "schema": "x",',
        '  "steps": [',
        '    {"id": "s1", "after": []},',
        '    {"id": "s2", "after": ["s1"]}',
        "  ]",
        "}",
    ]


def test_an_error_has_its_fix_under_it(capsys: pytest.CaptureFixture[str]) -> None:
    """On standard error, and nothing on standard output."""
    show_error(CallError("no run r9", "see 'cutsheet runs'"))
    said = capsys.readouterr()
    assert said == ("", "no run r9\n    fix: see 'cutsheet runs'\n")


def test_all_problems_of_a_document_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    """Each with its place, also in JSON."""
    problems = [Problem("plan.yaml", line, 3, f"wrong {line}", "mend it") for line in (7, 9)]
    show_error(DocumentError(problems), as_json=True)
    said = capsys.readouterr()
    assert "plan.yaml:7:3: wrong 7" in said.err
    assert "plan.yaml:9:3: wrong 9" in said.err
    document = json.loads(said.out)
    assert document["schema"] == "cutsheet/error/1"
    assert len(document["more"]) == 2


def test_end_leaves_with_the_status() -> None:
    """As typer wants it."""
    with pytest.raises(typer.Exit) as leaving:
        end(3)
    assert leaving.value.exit_code == 3
