"""The rollback notes are kept true while a run goes on."""

from pathlib import Path

from orchestrator.actions.notes import NotesKeeper, notes_path
from orchestrator.running.events import Event, Failed, Failure, Finished, Intended, Proved, Sent
from tests.actions.acted import Reporter
from tests.planning.scenes import Box, scene
from tests.running.runs import planned, record_of

SCENE = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (319, None)})})
RECORD = record_of(SCENE, planned(SCENE))
FIRST = RECORD.sequence.steps[0].id


def test_where_they_lie(tmp_path: Path) -> None:
    """In the run's own folder."""
    assert notes_path(tmp_path, "r1") == tmp_path / "runs" / "r1" / "rollback-notes.md"


def test_they_follow_what_is_true(tmp_path: Path) -> None:
    """Rewritten where an event changes what is true, in every place; all is passed on."""
    paths = (tmp_path / "one" / "notes.md", tmp_path / "two" / "notes.md")
    reporter = Reporter()
    keeper = NotesKeeper(RECORD, (), paths, reporter)
    keeper.write()
    texts = [path.read_text(encoding="utf-8") for path in paths]
    assert texts[0] == texts[1]
    events: list[Event] = [
        Intended(FIRST),
        Sent(FIRST, known=True),
        Proved(FIRST),
        Failed(RECORD.sequence.steps[1].id, Failure.REJECTED, "no"),
        Finished(),
    ]
    rewritten = []
    for event in events:
        for path in paths:
            path.unlink(missing_ok=True)
        keeper.stored(event)
        rewritten.append([path.exists() for path in paths])
    keeper.step_started(RECORD.sequence.steps[0])
    assert rewritten == [[False] * 2, [False] * 2, [True] * 2, [True] * 2, [True] * 2]
    assert reporter.events == events
    assert reporter.started == [FIRST]
    assert paths[0].read_text(encoding="utf-8") != texts[0]


def test_a_write_in_doubt_is_in_them(tmp_path: Path) -> None:
    """Whoever reads them has to know that it may have landed."""
    path = tmp_path / "notes.md"
    keeper = NotesKeeper(RECORD, [Intended(FIRST)], (path,), Reporter())
    keeper.stored(Sent(FIRST, known=False))
    assert path.exists()
