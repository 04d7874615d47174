"""A survey kept in a file comes back as it was."""

from pathlib import Path

import pytest

from orchestrator.documents.as_found import read_as_found, write_as_found
from orchestrator.errors import DocumentError
from orchestrator.facility.found import (
    AsFound,
    DestinationState,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    NotFound,
    SourceState,
)

SURVEY = AsFound(
    facility="Tern Point Radio",
    taken_at="2026-03-01T02:00:00+00:00",
    devices={
        "north-engine": Found(
            at="127.44.3.31",
            response_s=0.25,
            state=DeviceState(
                identity=Identity(serial="CV-1", model="CE-40", firmware="4.1.2"),
                interfaces={"main": InterfaceState(address="127.44.3.31", prefix=24, gateway=None)},
                sources={
                    "program-1": SourceState(
                        number=None, groups=(None,), label="Käfig \u2603", enabled=False
                    )
                },
                destinations={"codec-1": DestinationState(hears=None)},
                settings={"ptp_domain": 0, "fast": True, "gain": 0.0},
                unsaved=None,
            ),
        ),
        "south-engine": NotFound(at="127.44.3.41", why="nothing answers", kind="Unreachable"),
    },
)


def test_a_survey_comes_back(tmp_path: Path) -> None:
    """Found stays found, not found stays not found, and no value changes its kind."""
    path = tmp_path / "found.json"
    write_as_found(path, SURVEY)
    back = read_as_found(path)
    assert repr(back) == repr(SURVEY)
    assert back.state("south-engine") is None


def test_a_survey_replaces_the_one_before_it_whole(tmp_path: Path) -> None:
    """Nothing is left of the file before, nor of the one written beside it."""
    path = tmp_path / "found.json"
    path.write_text("x" * 100_000, encoding="utf-8")
    write_as_found(path, SURVEY)
    assert repr(read_as_found(path)) == repr(SURVEY)
    assert [item.name for item in tmp_path.iterdir()] == ["found.json"]


def test_a_broken_line_is_named(tmp_path: Path) -> None:
    """Text that is no JSON is told by line and column."""
    path = tmp_path / "found.json"
    write_as_found(path, SURVEY)
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[2] += "?"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(DocumentError) as caught:
        read_as_found(path)
    (problem,) = caught.value.problems
    assert (problem.line, problem.column) == (3, len(lines[2]))


def test_a_value_of_the_wrong_kind_is_named_by_its_path(tmp_path: Path) -> None:
    """Strictly read: a number given as text is not taken for a number."""
    path = tmp_path / "found.json"
    write_as_found(path, SURVEY)
    text = path.read_text(encoding="utf-8").replace('"prefix": 24', '"prefix": "24"')
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DocumentError) as caught:
        read_as_found(path)
    assert any("prefix" in problem.what for problem in caught.value.problems)
