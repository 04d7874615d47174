"""A dialogue with a run: what it is to ask for, and what it is told; a mismatch shows as a diff.

A script is lines of (what the run asks for, what it is told). The answer None leaves the operation
open; it can be answered in a later line by asking for it again with :func:`later`.
"""

import difflib
from collections.abc import Iterable, Iterator

from orchestrator.facility.found import DeviceState
from orchestrator.running.events import Event, Intended
from orchestrator.running.operations import (
    Ask,
    Elapsed,
    Look,
    Operation,
    Outcome,
    Probe,
    Read,
    ReadClock,
    Rest,
    Saw,
    Store,
    Stored,
    Wait,
    Write,
)
from orchestrator.running.run import Run


def brief(operation: Operation) -> str:  # noqa: PLR0911 - one return an operation
    """An operation in one line."""
    match operation:
        case Store(events=events):
            return "store " + " + ".join(event_text(event) for event in events)
        case Write(steps=steps, at=at):
            return f"write {' + '.join(step.id for step in steps)} at {at}"
        case Read(step=step, at=at) | Probe(step=step, at=at):
            return f"{type(operation).__name__.lower()} {step.id} at {at}"
        case Wait(step=step, seconds=seconds):
            return f"wait {step.id} {seconds:g}"
        case Ask(question=question):
            return f"ask {question}"
        case Look(phase=phase):
            return f"look before phase {phase}"
        case Rest(seconds=seconds):
            return f"rest {seconds:g}"
        case ReadClock():
            return "read the clock"


def event_text(event: Event) -> str:
    """An event in a few words; its sentence is left out."""
    words: list[str] = [event.kind]
    for name in ("step", "question", "phase", "known", "already", "go", "why", "unsure"):
        value = getattr(event, name, None)
        if name == "why" and event.kind == "paused":
            continue
        if value is True:
            words.append(name)
        elif name == "known" and value is False:
            words.append("unknown")
        elif name == "go" and value is False:
            words.append("no-go")
        elif value is not None and value is not False:
            words.append(str(value))
    return " ".join(words)


Line = tuple[str, Outcome | DeviceState | None]


UNTIL_LATE = (1 / 3, 2 / 3, 4 / 3, 8 / 3)
"""The waits after which nothing that was sent can land any more, in seconds."""
UNTIL_HOPELESS = (*UNTIL_LATE, 2 / 3, 4 / 3, 8 / 3, 16 / 3, 10)
"""And those after which nobody is waited for any more."""


def looked_at(where: str, found: Outcome | DeviceState, waits: Iterable[float]) -> Iterator[Line]:
    """A step looked at (``where``: its name, and "at" which address), once more after each wait."""
    yield f"read {where}", found
    for seconds in waits:
        yield f"wait {where.partition(' ')[0]} {seconds:g}", Elapsed()
        yield f"read {where}", found


class Dialogue:
    """Plays scripts to one run, one operation at a time, and keeps every event it stored."""

    def __init__(self, run: Run) -> None:
        self.run = run
        self.events: list[Event] = []
        self.open: dict[str, Operation] = {}

    def play(self, *script: Line) -> None:
        """Go through ``script``: each line's operation must be open then."""
        happened: list[str] = []
        for asks, told in script:
            self.open.update((brief(operation), operation) for operation in self.run.ready())
            if asks not in self.open:
                wanted = [line for line, _ in script]
                self._fail(wanted, happened + sorted(self.open))
            happened.append(asks)
            if told is not None:
                self.tell(asks, told)
        self.open.update((brief(operation), operation) for operation in self.run.ready())

    def tell(self, asks: str, told: Outcome | DeviceState) -> None:
        """Answer one open operation."""
        operation = self.open.pop(asks)
        outcome = Saw(told) if isinstance(told, DeviceState) else told
        self.run.settle(operation, outcome)
        if isinstance(operation, Store):
            self.events += operation.events

    def is_open(self, *asks: str) -> None:
        """Exactly these operations are open, but for looks that go along with a store of these."""
        self.open.update((brief(operation), operation) for operation in self.run.ready())
        if set(asks) != self.open.keys() - self.along():
            self._fail(sorted(asks), sorted(self.open))

    def along(self) -> set[str]:
        """The open looks whose intent is being stored."""
        stores = [each for each in self.open.values() if isinstance(each, Store)]
        intents = {event for store in stores for event in store.events}
        return {
            asks
            for asks, each in self.open.items()
            if isinstance(each, Read) and Intended(each.step.id) in intents
        }

    def _fail(self, wanted: list[str], found: list[str]) -> None:
        diff = difflib.ndiff(wanted, found)
        raise AssertionError("the dialogue went otherwise:\n" + "\n".join(diff))


def store(text: str) -> Line:
    """A store, stored."""
    return (f"store {text}", Stored())
