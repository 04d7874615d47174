"""A run's state as the fold of its stored events. Nothing else changes it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from orchestrator.running.events import (
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
    folded = state or State()
    for event in events:
        folded = _after(folded, event)
    return folded


_STANDS: Mapping[type[Event], Standing] = {
    Intended: Standing.INTENDED,
    Proved: Standing.PROVED,
    Failed: Standing.FAILED,
}


def _after(state: State, event: Event) -> State:
    match event:
        case Intended() | Proved() | Failed():
            return _stands(state, event)
        case Answered(question=question, go=go):
            return replace(state, answers={**state.answers, question: go})
        case Paused() | Finished():
            return replace(state, ended=event)
        case Resumed():
            return _reopened(state)
        case Sent() | Asked() | Checked():
            return state  # told to a reader; an intent alone says that a write may have landed


def _stands(state: State, event: Intended | Proved | Failed) -> State:
    failures = {name: failed for name, failed in state.failures.items() if name != event.step}
    if isinstance(event, Failed):
        failures[event.step] = event
    standings = {**state.standings, event.step: _STANDS[type(event)]}
    return replace(state, standings=standings, failures=failures)


def _reopened(state: State) -> State:
    # What may have landed stays intended, so that it is settled by reading before all else; a
    # no-go is a no for that night, not for ever.
    reopened = {
        step: Standing.INTENDED if failed.unsure else Standing.OPEN
        for step, failed in state.failures.items()
    }
    return State(
        standings={**state.standings, **reopened},
        answers={question: go for question, go in state.answers.items() if go},
    )
