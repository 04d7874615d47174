"""Keeps the rollback notes true: written before the first write, and again after each step."""

from collections.abc import Iterable
from pathlib import Path

from orchestrator.facility.step import Step
from orchestrator.reports import rollback_notes
from orchestrator.running.events import Event, Intended, Sent
from orchestrator.running.protocols import Reporter
from orchestrator.running.record import RunRecord


def notes_path(folder: Path, run: str) -> Path:
    """Where the notes of a run lie."""
    return folder / "runs" / run / "rollback-notes.md"


class NotesKeeper:
    """A reporter that rewrites the notes, and passes everything on to another one."""

    def __init__(
        self, record: RunRecord, events: Iterable[Event], paths: Iterable[Path], then: Reporter
    ) -> None:
        self._record = record
        self._events = list(events)
        self._paths = tuple(paths)
        self._then = then

    def write(self) -> None:
        """Write the notes as they are true now, to every place."""
        text = rollback_notes.text(self._record, self._events)
        for path in self._paths:
            path.parent.mkdir(parents=True, exist_ok=True)
            rollback_notes.write(path, text)

    def step_started(self, step: Step) -> None:
        """Pass it on."""
        self._then.step_started(step)

    def stored(self, event: Event) -> None:
        """Rewrite the notes where the event changes what is true of a device.

        An accepted write changes nothing yet: its read-back, which follows, does.
        """
        self._events.append(event)
        accepted = isinstance(event, Sent) and event.known
        if not accepted and not isinstance(event, Intended):
            self.write()
        self._then.stored(event)
