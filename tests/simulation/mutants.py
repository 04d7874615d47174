"""Wrongs done to the tool, one at a time: each must be seen by the simulation.

``python -m tests.simulation.mutants [--seeds N] [--processes P]`` runs them all, and prints a line
each with what caught it. Exit status: 0 all were caught, 1 one was not. A mutant of the planner is
made without the proof, which would refuse it (``tests/planning/mutants.py`` tries the proof).
"""

import argparse
import os
import sys
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import Pool
from typing import Any
from unittest.mock import patch

from orchestrator.facility.step import Sequence as Steps
from orchestrator.facility.step import Step, StepKind
from orchestrator.planning import course as a_course
from orchestrator.planning import dry_run as planner
from orchestrator.planning.ordering.finish import steps_of
from orchestrator.running import fold, stuck
from orchestrator.running.back import undo
from orchestrator.running.events import Event, Failed, Sent
from orchestrator.running.fold import Standing
from orchestrator.running.operations import Read, Store
from orchestrator.running.run import Run
from orchestrator.running.startable import Startable
from orchestrator.running.steps import hand, life, reading, taking
from orchestrator.running.steps.ahead import Ahead
from orchestrator.running.steps.hand import Hand
from orchestrator.running.steps.life import LIFE, Goes, Happening, Stage
from orchestrator.running.terms import AfterFailure, held
from tests.simulation import trial, truth
from tests.simulation.__main__ import attempt
from tests.simulation.scene import Job, planned

DEVICES = 3
SOON = {
    "a source switched on by another hand not seen": 278,
    "doubt forgotten at a resume": 102,
    "a doubt called a sure failure": 293,
    "what may have landed reopened as if not sent": 293,
    "a moved device asked where it was": 2318,
    "undo does not save first": 2060,
    "a room taken back listens to what is on a bench": 1582,
}
"""From which seed the mutants are hunted that are seldom seen; the others from the first."""


@dataclass(frozen=True)
class Mutant:
    """One wrong: its name, and how it is done."""

    name: str
    patches: tuple[Any, ...]

    @contextmanager
    def alive(self) -> Iterator[None]:
        """The tool with this wrong in it."""
        with ExitStack() as stack:
            for make in self.patches:
                stack.enter_context(make())
            yield


@dataclass(frozen=True)
class Caught:
    """What became of a mutant: the seed that saw it and what was seen, or None."""

    mutant: str
    seed: int | None
    what: str = ""


def hunt(name: str, seeds: int) -> Caught:
    """Try the mutant of that name on so many seeds, until one sees it.

    Raises:
        ValueError: the mutant does not fit the code.
    """
    mutant = MUTANTS[name]
    with mutant.alive():
        first = SOON.get(name, 0)
        for seed in range(first, first + seeds):
            told = attempt(seed, DEVICES)
            if told.broken:
                what = told.broken[0]
                if what.startswith(_SLIPS):
                    raise ValueError(f"the mutant '{name}' is made wrongly: {what}")
                return Caught(name, seed, what)
    return Caught(name, None)


_SLIPS = ("raised TypeError", "raised AttributeError", "raised NameError")
"""What a mutant raises that does not fit the code any more, and so shows nothing."""


def row(stage: Stage, happening: Happening, to: Stage) -> Callable[[], Any]:
    """A row of the life of a step that leads somewhere else."""
    return partial(patch.object, life, "LIFE", {**LIFE, (stage, happening): Goes(to)})


def instead(where: Any, name: str, what: Any) -> Callable[[], Any]:
    """``what`` in the place of ``where.name``."""
    return partial(patch.object, where, name, what)


def without(*kinds: StepKind) -> tuple[Callable[[], Any], ...]:
    """A planner that forgets steps of some kinds, and nobody who proves."""
    return (
        instead(a_course, "steps_of", partial(_left_out, steps_of, kinds)),
        instead(planner, "prove", _nothing),
    )


def _left_out(whole: Any, kinds: Sequence[StepKind], *given: Any) -> tuple[Step, ...]:
    steps: tuple[Step, ...] = whole(*given)
    gone = {step.id: step for step in steps if step.kind in kinds}

    def kept(name: str) -> Iterator[str]:
        if name not in gone:
            yield name
            return
        for before in gone[name].after:
            yield from kept(before)

    return tuple(
        replace(
            step,
            after=tuple(dict.fromkeys(n for name in step.after for n in kept(name))),
            behind=tuple(name for name in step.behind if name not in gone),
        )
        for step in steps
        if step.id not in gone
    )


def _loose(steps: Sequence[Step]) -> tuple[Step, ...]:
    """Steps that wait only for steps of their own device."""
    device = {step.id: step.device for step in steps}
    return tuple(
        replace(step, after=tuple(n for n in step.after if device[n] == step.device), behind=())
        for step in steps
    )


def _planned_loosely(*given: Any) -> tuple[Step, ...]:
    return _loose(steps_of(*given))


def _loose_undo(made: Any) -> Job | None:
    way = planned(made)
    if way is None:
        return None
    sequence: Steps = replace(way.plan.sequence, steps=_loose(way.plan.sequence.steps))
    return replace(way, plan=replace(way.plan, sequence=sequence))


def _nothing(*_: Any) -> list[Any]:
    return []


def _none(*_: Any) -> None:
    return None


def _empty(*_: Any) -> tuple[Any, ...]:
    return ()


def _any_order(self: Startable, step: Step, *_: object) -> bool:
    return step.id not in self.held and self._state.standing(step.id) is not Standing.FAILED


def _whatever_follows(self: Startable, proving: Collection[Step]) -> tuple[Step, ...]:
    own = [self.steps[name] for name in self.on[next(step.device for step in proving)]]
    following = (step for step in own if step not in proving and not self.proved(step.id))
    return tuple(following)[:1]


def _proved_or_failed(self: Startable, step: str) -> bool:
    return self._state.standing(step) in (Standing.PROVED, Standing.FAILED)


_EVENTS = Hand._events


def _no_intent(self: Hand) -> tuple[Event, ...]:
    told = (Sent(self.step.id, known=False),)
    return told if self.stage is Stage.INTENDING else _EVENTS(self)


_SETTLE = Run._settle_steps


def _hasty(self: Run, device: str, operation: Any, outcome: Any) -> None:
    """A look along is gone on with at once; what was to be stored is put on disk at last."""
    if isinstance(operation, Read) and (ahead := self._ahead.pop(device, None)) is not None:
        self._go_on(device, ahead.left.told(outcome))
    elif (
        isinstance(operation, Store)
        and not self._hands[device].intending
        and (operation.events[-1].kind == "intended")
    ):
        self._take(operation)
    else:
        _SETTLE(self, device, operation, outcome)


_HAND = Run._taken


def _no_doubt(self: Run, *given: Any) -> Hand:
    return replace(_HAND(self, *given), doubt=False)


def _forgetful(_: Failed) -> Standing:
    return Standing.OPEN


_FAILED = hand._failed


def _sure(*given: Any) -> Hand:
    return replace(_FAILED(*given), unsure=False)


_TAKE_BACK = undo.take_back


def _room_alone(_record: Any, _events: Any, lines: Any, devices: Collection[str]) -> Any:
    return {name: line for name, line in lines.items() if name in devices}


def _nobody_away(*given: Any, away: Any, **named: Any) -> Any:
    del away
    return undo.take_back(*given, **named)


def _unsaved_forgotten(*given: Any, **named: Any) -> undo.TakeBack:
    return replace(_TAKE_BACK(*given, **named), save_first=frozenset())


_HELD = held


def _room_only(policy: AfterFailure, *given: Any) -> frozenset[str]:
    weaker = AfterFailure.HOLD_ROOM if policy is AfterFailure.HOLD_ALL else policy
    return _HELD(weaker, *given)


def _as_asked(asked: Any, *_: Any, **__: Any) -> Any:
    return dict(asked)


_LACKS_NOTHING = instead(Startable, "lacking", lambda *_: [])
"""Without the last look at the order, right before a write."""

S, H = Stage, Happening
_LIST = (
    # the order
    Mutant("order ignored", (instead(Startable, "_open", _any_order), _LACKS_NOTHING)),
    Mutant("what follows on a device begun whatever it waits for", (
        instead(Startable, "after", _whatever_follows), _LACKS_NOTHING)),
    Mutant("order between devices dropped", (
        instead(a_course, "steps_of", _planned_loosely), instead(planner, "prove", _nothing))),
    Mutant("order of an undo dropped", (instead(trial, "planned", _loose_undo),)),
    Mutant("a failure taken as a proof", (instead(Startable, "proved", _proved_or_failed),)),
    Mutant("a phase begun without its go", (instead(Startable, "phase", lambda _: 0),)),
    # steps left out
    Mutant("disable left out", without(StepKind.DISABLE)),
    Mutant("listeners forgotten", without(StepKind.REPOINT)),
    Mutant("save forgotten", without(StepKind.SAVE)),
    Mutant("confirm left out", without(StepKind.CONFIRM)),
    Mutant("enable left out", without(StepKind.ENABLE)),
    # before the write
    Mutant("read before the write left out", (row(S.INTENDING, H.INTENDED, S.SENDING),)),
    Mutant("a write that does not wait for its intent", (
        instead(Run, "_settle_steps", _hasty),)),
    Mutant("a look from before a stalled disk counts", (
        instead(Ahead, "once", lambda ahead, _: ahead.seen),)),
    Mutant("another hand's value overwritten", (row(S.LOOKING, H.OTHER, S.SENDING),)),
    Mutant("vacancy not probed", (row(S.LOOKING, H.MOVABLE, S.SENDING),)),
    Mutant("moved where somebody answers", (row(S.PROBING, H.OCCUPIED, S.SENDING),)),
    Mutant("not read again after the probe", (row(S.PROBING, H.VACANT, S.SENDING),)),
    Mutant("identity not checked", (instead(reading, "is_meant", lambda *_: True),)),
    Mutant("intent not stored", (instead(Hand, "_events", _no_intent),)),
    Mutant("a source switched on by another hand not seen", (
        instead(reading, "_switched_on", _empty),)),
    Mutant("what a power cycle took not seen", (instead(reading, "lost", _empty),)),
    # after the write
    Mutant("a yes taken as done", (row(S.SENDING, H.ACCEPTED, S.PROVING),)),
    Mutant("unknown taken as applied", (row(S.SENDING, H.UNSURE, S.PROVING),)),
    Mutant("second write after a lost answer", (row(S.SEEKING, H.AS_FOUND, S.SENDING),)),
    Mutant("no patience with a late write", (instead(reading, "_late", lambda _: True),)),
    Mutant("readdress sent twice", (row(S.SEEKING, H.AS_FOUND_STILL, S.SENDING),
                                    row(S.SEEKING, H.AS_FOUND, S.SENDING))),
    Mutant("a doubt called a sure failure", (instead(hand, "_failed", _sure),)),
    # after a stop
    Mutant("doubt forgotten at a resume", (instead(Run, "_taken", _no_doubt),)),
    Mutant("what may have landed reopened as if not sent", (
        instead(fold, "_reopened", _forgetful),)),
    Mutant("a moved device asked where it was", (instead(taking, "moved_since", _none),)),
    # after a failure
    Mutant("a failure holds no more than its device", (
        instead(stuck, "held", lambda *_: frozenset()),)),
    Mutant("a failure that is to hold everything holds its room", (
        instead(stuck, "held", _room_only),)),
    # taking back, and what is told
    Mutant("undo of what is proved only", (instead(undo, "in_doubt", lambda *_: frozenset()),)),
    Mutant("undo lets pointers follow whoever is there", (
        instead(undo, "_with_stayers", _as_asked),)),
    Mutant("undo gives a mended fault back", (instead(undo, "stays", lambda *_: {}),)),
    Mutant("undo does not save first", (instead(trial, "take_back", _unsaved_forgotten),)),
    Mutant("a room taken back without who is in its way", (
        instead(undo, "part_of", _room_alone),)),
    Mutant("a room taken back listens to what is on a bench", (
        instead(trial, "take_back", _nobody_away),)),
    Mutant("who followed when a part was taken back stays where it is", (
        instead(undo, "_followed", lambda _: {}),)),
    Mutant("a report without doubts", (instead(truth, "in_doubt", lambda *_: frozenset()),)),
)  # fmt: skip
MUTANTS = {mutant.name: mutant for mutant in _LIST}


def main(arguments: Sequence[str] | None = None) -> int:
    """Hunt every mutant and say what caught it."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation.mutants")
    parser.add_argument("--seeds", type=int, default=2000)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args(arguments)
    left = 0
    with Pool(given.processes) as pool:
        for caught in pool.imap(partial(hunt, seeds=given.seeds), MUTANTS):
            left += caught.seed is None
            seen = "not caught" if caught.seed is None else f"seed {caught.seed}: {caught.what}"
            sys.stdout.write(f"{caught.mutant:48} {seen}\n")
            sys.stdout.flush()
    sys.stdout.write(f"{len(MUTANTS)} mutants, {left} not caught\n")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
