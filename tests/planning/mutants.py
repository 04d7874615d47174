"""Sequences broken by chance: one or two small wrongs done to a sequence that is safe."""

import random
from collections.abc import Callable
from dataclasses import replace

from orchestrator.facility.step import Assigned, Hearing, Sequence, Step, StepKind
from tests.planning.scenes import group


def mutant(sequence: Sequence, rng: random.Random) -> Sequence:
    """A copy of ``sequence`` with one or two things wrong, and (often) all phases made one."""
    steps = list(sequence.steps)
    phases = sequence.phases
    if rng.random() < 0.6:
        steps = [replace(step, phase=0) for step in steps]
        phases = phases[:1]
    for _ in range(rng.choice([1, 1, 1, 2])):
        steps = rng.choice(WRONGS)(steps, rng)
    return replace(sequence, steps=tuple(steps), phases=phases)


Wrong = Callable[[list[Step], random.Random], list[Step]]


def _forget(steps: list[Step], rng: random.Random) -> list[Step]:
    """One step no longer waits for one that it waited for."""
    waiting = [step for step in steps if step.after]
    if not waiting:
        return steps
    chosen = rng.choice(waiting)
    gone = rng.choice(chosen.after)
    return _put(steps, replace(chosen, after=tuple(a for a in chosen.after if a != gone)))


def _forget_all(steps: list[Step], rng: random.Random) -> list[Step]:
    """One step waits only for its own device's steps."""
    device = {step.id: step.device for step in steps}
    waiting = [s for s in steps if any(device[a] != s.device for a in s.after)]
    if not waiting:
        return steps
    chosen = rng.choice(waiting)
    own = tuple(a for a in chosen.after if device[a] == chosen.device)
    return _put(steps, replace(chosen, after=own))


def _redirect(steps: list[Step], rng: random.Random) -> list[Step]:
    """One step waits for another step than it did."""
    waiting = [step for step in steps if step.after]
    if not waiting:
        return steps
    chosen = rng.choice(waiting)
    old, new = rng.choice(chosen.after), rng.choice(steps).id
    if new == chosen.id:
        return steps
    return _put(
        steps, replace(chosen, after=tuple({new if a == old else a: None for a in chosen.after}))
    )


def _drop(steps: list[Step], rng: random.Random) -> list[Step]:
    """One step is missing; who waited for it waits for what it waited for."""
    likely = [s for s in steps if s.kind in {StepKind.SAVE, StepKind.DISABLE, StepKind.REPOINT}]
    if not likely:
        return steps
    gone = rng.choice(likely if rng.random() < 0.8 else steps)
    return [
        replace(
            step,
            after=tuple(
                dict.fromkeys(x for a in step.after for x in (gone.after if a == gone.id else (a,)))
            ),
        )
        for step in steps
        if step.id != gone.id
    ]


def _turn(steps: list[Step], rng: random.Random) -> list[Step]:
    """Two steps of which one waited for the other wait the other way round."""
    waiting = [step for step in steps if step.after]
    if not waiting:
        return steps
    chosen = rng.choice(waiting)
    name = rng.choice(chosen.after)
    other = next(step for step in steps if step.id == name)
    one = replace(chosen, after=tuple(a for a in chosen.after if a != other.id))
    two = replace(other, after=(*other.after, chosen.id))
    return _put(_put(steps, one), two)


def _phases(steps: list[Step], rng: random.Random) -> list[Step]:
    """Two phases change places, or one step moves to another."""
    last = max((step.phase for step in steps), default=0)
    if not last:
        return steps
    if rng.random() < 0.5:
        chosen = rng.choice(steps)
        return _put(steps, replace(chosen, phase=rng.randint(0, last)))
    one, other = rng.sample(range(last + 1), 2)
    where = {one: other, other: one}
    moved = [replace(step, phase=where.get(step.phase, step.phase)) for step in steps]
    place = {step.id: step.phase for step in moved}
    return [replace(s, after=tuple(a for a in s.after if place[a] <= s.phase)) for s in moved]


def _elsewhere(steps: list[Step], rng: random.Random) -> list[Step]:
    """A renumber or repoint goes to a number that another step uses, or that is found there."""
    movers = [s for s in steps if isinstance(s.wanted, Assigned | Hearing)]
    if not movers:
        return steps
    chosen = rng.choice(movers)
    numbers = [s.as_found.number for s in movers if isinstance(s.as_found, Assigned)]
    number = rng.choice([*numbers, 301, 302, 305])
    if number is None:
        return steps
    if isinstance(chosen.wanted, Assigned):
        return _put(steps, replace(chosen, wanted=Assigned(number, (group(number),))))
    by_number = isinstance(chosen.wanted, Hearing) and chosen.wanted.number is not None
    heard = Hearing(number=number) if by_number else Hearing(group=group(number))
    return _put(steps, replace(chosen, wanted=heard))


def _put(steps: list[Step], changed: Step) -> list[Step]:
    return [changed if step.id == changed.id else step for step in steps]


WRONGS: tuple[Wrong, ...] = (
    _forget,
    _forget,
    _forget_all,
    _redirect,
    _drop,
    _turn,
    _phases,
    _elsewhere,
)
