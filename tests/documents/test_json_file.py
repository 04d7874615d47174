"""Values as JSON files, marked with their schema."""

from dataclasses import dataclass
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from orchestrator.documents import json_file
from orchestrator.errors import CallError, DocumentError


@dataclass(frozen=True)
class Thing:
    """Something to keep."""

    name: str
    value: bool | int | float | str | None = None
    parts: tuple[int, ...] = ()


ADAPTER: TypeAdapter[Thing] = TypeAdapter(Thing)
SCHEMA = "cutsheet/thing/1"


def said(path: Path) -> list[tuple[int, str]]:
    """Line and words of what is wrong with a file."""
    with pytest.raises(DocumentError) as caught:
        json_file.read(path, ADAPTER, SCHEMA, "make it anew")
    assert all(problem.fix == "make it anew" for problem in caught.value.problems)
    return [(problem.line, problem.what) for problem in caught.value.problems]


@pytest.mark.parametrize("value", [None, True, 1, 1.0, "1", 2**70, -0.0, "☃", "\u2028"])
def test_there_and_back(tmp_path: Path, value: bool | float | str | None) -> None:  # noqa: FBT001  # a value, by test
    """Every kind of value stays of its kind."""
    path = tmp_path / "a.json"
    json_file.write(path, Thing("x", value, (1, 2)), ADAPTER, SCHEMA)
    assert repr(json_file.read(path, ADAPTER, SCHEMA, "")) == repr(Thing("x", value, (1, 2)))


def test_half_a_character_from_a_device_is_kept_as_a_question_mark(tmp_path: Path) -> None:
    """Text that is no Unicode ends no survey."""
    path = tmp_path / "a.json"
    json_file.write(path, Thing("x\ud800y"), ADAPTER, SCHEMA)
    assert json_file.read(path, ADAPTER, SCHEMA, "").name == "x?y"


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        ("{\n!", 2, "this is no JSON"),
        ('{"schema": "other"}', 0, f"this is no {SCHEMA} document"),
        (f'{{"schema": "{SCHEMA}"}}', 0, "name is missing"),
        (f'{{"schema": "{SCHEMA}", "name": 5}}', 0, "name: '5' can't stand here"),
        (f'{{"schema": "{SCHEMA}", "name": "x", "value": Infinity}}', 0, "this is no JSON"),
    ],
)
def test_what_is_wrong_is_told(tmp_path: Path, text: str, line: int, what: str) -> None:
    """With the line where the text breaks, or the path of the value."""
    path = tmp_path / "a.json"
    path.write_text(text, encoding="utf-8")
    ((found, words),) = said(path)
    assert found == line
    assert words.startswith(what)


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    """Told, not thrown."""
    path = tmp_path / "a.json"
    path.write_bytes(b"\xff")
    assert said(path) == [(0, "this is not UTF-8 text")]


def test_no_such_file(tmp_path: Path) -> None:
    """The caller's mistake."""
    with pytest.raises(CallError, match="no file"):
        json_file.read(tmp_path / "a.json", ADAPTER, SCHEMA, "")
    with pytest.raises(CallError, match="can't be read"):
        json_file.read(tmp_path, ADAPTER, SCHEMA, "")
