"""The rollback notes are kept true while a run goes on."""

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from orchestrator.actions.kept.notes import NotesKeeper, notes_path
from orchestrator.errors import CallError, LedgerError
from orchestrator.reports import rollback_notes
from orchestrator.running.events import Event, Failed, Failure, Finished, Intended, Proved, Sent
from tests.planning.scenes import Box, scene
from tests.running.runs import planned, record_of

SCENE = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (319, None)})})
RECORD = record_of(SCENE, planned(SCENE))
OFF, RENUMBER, ON = (step.id for step in RECORD.sequence.steps)
NOW = datetime(2026, 3, 1, 2, 0, tzinfo=UTC)


class Recorder:
    """Keeps events; ``seen`` is what the notes said when each batch came to be stored."""

    def __init__(self, path: Path) -> None:
        self.events: list[Event] = []
        self.path = path

    def append(self, run: str, events: Iterable[Event], at: datetime) -> None:
        """Keep them."""
        assert (run, at) == (RECORD.id, NOW)
        self.events.extend(events)


class Watch:
    """A clock that a test moves on."""

    def __init__(self) -> None:
        self.time = 0.0

    def __call__(self) -> float:
        """Seconds; each look takes one."""
        self.time += 1.0
        return self.time


def test_where_they_lie(tmp_path: Path) -> None:
    """In the run's own folder."""
    assert notes_path(tmp_path, "r1") == tmp_path / "runs" / "r1" / "rollback-notes.md"


def test_each_event_is_in_them_at_once(tmp_path: Path) -> None:
    """As a line at the end of every copy; and the whole is what the report says of that time."""
    paths = (tmp_path / "one" / "notes.md", tmp_path / "two" / "notes.md")
    with NotesKeeper(RECORD, (), paths, Recorder(paths[0]), now=Watch()) as keeper:
        whole = rollback_notes.text(RECORD, ())
        assert [path.read_text(encoding="utf-8") for path in paths] == [whole, whole]
        said = []
        for event in (
            Intended(OFF),
            Sent(OFF, known=True),
            Proved(OFF),
            Intended(RENUMBER),
            Sent(RENUMBER, known=False),
        ):
            keeper.append(RECORD.id, [event], NOW)
            text = paths[0].read_text(encoding="utf-8")
            assert paths[1].read_text(encoding="utf-8") == text
            assert text.startswith(whole)
            said.append(text.removeprefix(whole))
    assert said[0] == said[1], "a device's yes alone changes nothing"
    assert said[0].count("## Done since") == said[-1].count("## Done since") == 1
    last = [line.split(": ", 1)[1] for line in said[-1].splitlines() if line.startswith("- ")]
    assert [line.split(" ")[0] for line in last] == ["begun", "done:", "begun", "in"]


def test_the_whole_is_written_anew_when_there_is_time(tmp_path: Path) -> None:
    """Then the list at its end is gone, and begins anew with the next event."""
    path, watch = tmp_path / "notes.md", Watch()
    with NotesKeeper(RECORD, (), (path,), Recorder(path), now=watch) as keeper:
        keeper.append(RECORD.id, [Intended(OFF)], NOW)
        watch.time += 1000.0
        keeper.append(RECORD.id, [Proved(OFF)], NOW)
        keeper.finish()
        events: list[Event] = [Intended(OFF), Proved(OFF)]
        assert path.read_text(encoding="utf-8") == rollback_notes.text(RECORD, events)
        keeper.append(RECORD.id, [Intended(RENUMBER)], NOW)
        assert path.read_text(encoding="utf-8").count("## Done since") == 1


def test_at_the_end_the_whole_is_written(tmp_path: Path) -> None:
    """However little time there was."""
    path = tmp_path / "notes.md"
    events: list[Event] = [Intended(OFF), Failed(OFF, Failure.REJECTED, "no"), Finished()]
    with NotesKeeper(RECORD, (), (path,), Recorder(path), now=Watch()) as keeper:
        keeper.append(RECORD.id, events, NOW)
    assert path.read_text(encoding="utf-8") == rollback_notes.text(RECORD, events)


def test_what_was_stored_before_is_in_them(tmp_path: Path) -> None:
    """A run that is resumed begins with notes of all that its ledger holds."""
    path = tmp_path / "notes.md"
    with NotesKeeper(RECORD, [Intended(OFF)], (path,), Recorder(path)):
        assert path.read_text(encoding="utf-8") == rollback_notes.text(RECORD, [Intended(OFF)])


def test_notes_that_were_taken_away_are_written_anew(tmp_path: Path) -> None:
    """Somebody who moves the file has a copy; the place gets the whole again."""
    path = tmp_path / "notes.md"
    with NotesKeeper(RECORD, (), (path,), Recorder(path), now=Watch()) as keeper:
        path.unlink()
        keeper.append(RECORD.id, [Intended(OFF)], NOW)
        keeper.finish()
        assert path.read_text(encoding="utf-8") == rollback_notes.text(RECORD, [Intended(OFF)])


def test_nothing_begins_where_they_can_not_be_written(tmp_path: Path) -> None:
    """A file where the folder should be is told in words."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    path = tmp_path / "file" / "notes.md"
    with pytest.raises(CallError, match="can't be written"):
        NotesKeeper(RECORD, (), (path,), Recorder(path)).__enter__()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
@pytest.mark.parametrize("full", ["own.md", "copy.md"])
def test_a_place_that_fails_later_is_trouble_and_loses_no_event(tmp_path: Path, full: str) -> None:
    """The event is stored all the same; what is wrong with which place is told."""
    paths = (tmp_path / "own.md", tmp_path / "copy.md")
    recorder = Recorder(paths[0])
    with NotesKeeper(RECORD, (), paths, recorder, now=Watch()) as keeper:
        (tmp_path / full).unlink()
        (tmp_path / full).symlink_to("/dev/full")
        keeper.append(RECORD.id, [Intended(OFF)], NOW)
    assert recorder.events == [Intended(OFF)]
    assert keeper.trouble is not None
    assert full in keeper.trouble
    assert "No space left" in keeper.trouble


def test_an_event_that_can_not_be_stored_is_an_error(tmp_path: Path) -> None:
    """The ledger's error comes out as it is."""
    path = tmp_path / "notes.md"

    class Full(Recorder):
        def append(self, run: str, events: Iterable[Event], at: datetime) -> None:
            del run, events, at
            raise LedgerError("the disk is full")

    with (
        NotesKeeper(RECORD, (), (path,), Full(path), now=Watch()) as keeper,
        pytest.raises(LedgerError, match="full"),
    ):
        keeper.append(RECORD.id, [Intended(OFF)], NOW)
