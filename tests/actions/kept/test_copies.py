"""States and notes are kept beside the ledger, and on another disk, before the first write."""

from dataclasses import replace
from pathlib import Path

import pytest

from orchestrator.actions.kept.copies import (
    configuration_path,
    keep_configurations,
    keep_states,
    notes_places,
    same_disk,
    states_path,
)
from orchestrator.documents.as_found import read_as_found
from orchestrator.documents.configuration import read_configuration
from orchestrator.errors import CallError
from orchestrator.facility.configuration import Configuration
from tests.actions.kept.test_notes import RECORD


def test_the_states_are_as_found_files(tmp_path: Path) -> None:
    """In the run's folder and in the copy: what was found, whole, as a dry-run reads it."""
    folder, copy = tmp_path / "facility", tmp_path / "stick" / "tonight"
    keep_states(RECORD, folder, copy)
    for path in (states_path(folder, RECORD.id), copy / f"as-found-before-{RECORD.id}.json"):
        found = read_as_found(path)
        assert dict(found.devices) == dict(RECORD.before)
        assert (found.facility, found.taken_at) == (RECORD.facility, RECORD.made_at)


def test_each_run_has_files_of_its_own_in_the_copy(tmp_path: Path) -> None:
    """One folder serves for a whole season."""
    keep_states(RECORD, tmp_path / "facility", tmp_path / "stick")
    keep_states(replace(RECORD, id="r2"), tmp_path / "facility", tmp_path / "stick")
    assert len(list((tmp_path / "stick").iterdir())) == 2
    assert notes_places(tmp_path, "r1", tmp_path / "stick") == (
        tmp_path / "runs" / "r1" / "rollback-notes.md",
        tmp_path / "stick" / "rollback-notes-r1.md",
    )
    assert len(notes_places(tmp_path, "r1", None)) == 1


def test_a_place_that_can_not_be_made_is_told(tmp_path: Path) -> None:
    """A file where the folder should be: what, where, and that nothing was written."""
    (tmp_path / "stick").write_text("", encoding="utf-8")
    with pytest.raises(CallError) as caught:
        keep_states(RECORD, tmp_path / "facility", tmp_path / "stick" / "in")
    assert str(tmp_path / "stick") in caught.value.what
    assert "nothing was written to a device" in caught.value.fix


def test_the_same_disk_is_seen(tmp_path: Path) -> None:
    """A copy beside the facility is no copy; the system's own folders are disks of their own."""
    assert same_disk(tmp_path, tmp_path)
    assert not same_disk(tmp_path, Path("/dev"))


def test_whole_configurations_lie_beside_them(tmp_path: Path) -> None:
    """In the run's folder and in the copy, by device."""
    one = Configuration(device="node", serial="SW-7", run="r1", taken_at="now", parts={"id": {}})
    folder, copy = tmp_path / "facility", tmp_path / "stick"
    keep_configurations("r1", {"node": one}, folder, copy)
    assert read_configuration(configuration_path(folder, "r1", "node")) == one
    assert read_configuration(copy / "configuration-node-r1.json") == one
    (tmp_path / "full").write_text("", encoding="utf-8")
    with pytest.raises(CallError):
        keep_configurations("r1", {"node": one}, tmp_path / "full", None)
