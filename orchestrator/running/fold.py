"""A run's state as the fold of its stored events. Nothing else changes it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from orchestrator.running.events import (
    Agreed,
    Answered,
    Asked,
    Checked,
    Event,
    Failed,
    Finished,
    Intended,
    Paused,
    Proved,
    Resumed,
    Sent,
)


class Standing(StrEnum):
    """How a step stands in the ledger. A step that no event names is open."""

    OPEN = "open"
    INTENDED = "intended"
    PROVED = "proved"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class State:
    """What the stored events come to.

    ``failures`` holds the last failure of each step that stands failed. ``answers`` holds what
    persons answered. ``ended`` is how the run last stopped, None while it goes on.
    """

    standings: Mapping[str, Standing] = field(default_factory=dict)
    failures: Mapping[str, Failed] = field(default_factory=dict)
    answers: Mapping[str, bool] = field(default_factory=dict)
    ended: Paused | Finished | None = None

    def standing(self, step: str) -> Standing:
        """How ``step`` stands."""
        return self.standings.get(step, Standing.OPEN)


def fold(events: Iterable[Event], state: State | None = None) -> State:
    """Let ``events`` take effect, in order, on ``state`` (nothing stored yet if None)."""
    folding = Folding(state)
    folding.take(events)
    return folding.state


_STANDS: Mapping[type[Event], Standing] = {
    Intended: Standing.INTENDED,
    Proved: Standing.PROVED,
    Failed: Standing.FAILED,
}


class Folding:
    """A state while events take effect on it, each in a time that does not grow with the run.

    Its parts are those of :class:`State`, to be looked at and left as they are. ``intended`` names
    the steps that stand intended.
    """

    def __init__(self, state: State | None = None) -> None:
        known = state or State()
        self.standings = dict(known.standings)
        self.failures = dict(known.failures)
        self.answers = dict(known.answers)
        self.ended = known.ended
        self.intended = {s: None for s, how in known.standings.items() if how == Standing.INTENDED}

    @property
    def state(self) -> State:
        """The state as it is now; what comes later changes nothing in it."""
        return State(dict(self.standings), dict(self.failures), dict(self.answers), self.ended)

    def standing(self, step: str) -> Standing:
        """How ``step`` stands."""
        return self.standings.get(step, Standing.OPEN)

    def take(self, events: Iterable[Event]) -> None:
        """Let ``events`` take effect, in order."""
        for event in events:
            self._take(event)

    def _take(self, event: Event) -> None:
        match event:
            case Intended() | Proved() | Failed():
                self._stand(event)
            case Answered(question=question, go=go):
                self.answers[question] = go
            case Paused() | Finished():
                self.ended = event
            case Resumed():
                self._reopen()
            case Sent() | Asked() | Agreed() | Checked():
                pass  # told to a reader; an intent alone says that a write may have landed

    def _stand(self, event: Intended | Proved | Failed) -> None:
        self._set(event.step, _STANDS[type(event)])
        self.failures.pop(event.step, None)
        if isinstance(event, Failed):
            self.failures[event.step] = event

    def _set(self, step: str, standing: Standing) -> None:
        self.standings[step] = standing
        if standing is Standing.INTENDED:
            self.intended[step] = None
        else:
            self.intended.pop(step, None)

    def _reopen(self) -> None:
        for step, failed in self.failures.items():
            self._set(step, _reopened(failed))
        # A no-go is a no for that night, not for ever.
        self.failures.clear()
        self.answers = {question: go for question, go in self.answers.items() if go}
        self.ended = None


def _reopened(failed: Failed) -> Standing:
    # What may have landed stays intended, so that it is settled by reading before all else.
    return Standing.INTENDED if failed.unsure else Standing.OPEN
