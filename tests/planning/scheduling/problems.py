"""Scheduling problems for tests: by hand, and random ones like those of a facility."""

import random
from collections.abc import Iterable, Sequence

from orchestrator.planning.scheduling.tasks import Silent, Tasks


def problem(
    *lines: tuple[str, int, Iterable[int]],
    silences: Iterable[Silent] = (),
    phase: Sequence[int] = (),
    by_hand: Iterable[int] = (),
    width: int = 16,
) -> Tasks:
    """Tasks as (device, length, those that it waits for)."""
    names = sorted({device for device, _, _ in lines})
    before = [tuple(firsts) for _, _, firsts in lines]
    hands = set(by_hand)
    return Tasks(
        length=tuple(length for _, length, _ in lines),
        device=tuple(names.index(device) for device, _, _ in lines),
        phase=tuple(phase) or (0,) * len(lines),
        by_hand=tuple(task in hands for task in range(len(lines))),
        before=tuple(before),
        later=tuple(
            tuple(then for then, firsts in enumerate(before) if task in firsts)
            for task in range(len(lines))
        ),
        silences=tuple(silences),
        width=width,
    )


def ring() -> Tasks:
    """Two sources exchange numbers: a goes to transit, b to a's, a to b's.

    Tasks: 0 a off, 1 a out, 2 a home, 3 a on, 4 b off, 5 b over, 6 b on; each takes 10.
    """
    return problem(
        ("a", 10, ()),
        ("a", 10, (0,)),
        ("a", 10, (1, 5)),
        ("a", 10, (2,)),
        ("b", 10, ()),
        ("b", 10, (4, 1)),
        ("b", 10, (5,)),
        silences=((0, 3, 1), (4, 6, 1)),
    )


def chance(seed: int, *, sources: int = 4, devices: int = 3, width: int = 16) -> Tasks:
    """Chains of renumbers over some devices of different paces, with listeners' repoints."""
    rng = random.Random(seed)
    paces = [rng.choice([1, 2, 3, 5, 10]) for _ in range(devices)]
    lines: list[tuple[str, int, tuple[int, ...]]] = []
    silences: list[Silent] = []
    freed: int | None = None
    for _ in range(rng.randint(1, sources)):
        home = rng.randrange(devices)
        pace = paces[home]
        off = len(lines)
        lines.append((f"d{home}", pace, ()))
        lines.append((f"d{home}", pace, (off,) if freed is None else (off, freed)))
        waits = [off + 1]
        for _ in range(rng.choice([0, 0, 1, 2])):
            other = rng.randrange(devices)
            waits.append(len(lines))
            lines.append((f"d{other}", paces[other], (off,)))
        silences.append((off, len(lines), rng.choice([1, 1, 2, 3])))
        lines.append((f"d{home}", pace, tuple(waits)))
        freed = off + 1 if rng.random() < 0.7 else None
    return problem(*lines, silences=silences, width=width)


def by_chance(tasks: Tasks, seed: int) -> list[int]:
    """A random order that agrees with the tasks."""
    rng = random.Random(seed)
    order: list[int] = []
    left = set(range(len(tasks.length)))
    while left:
        ready = [task for task in sorted(left) if left.isdisjoint(tasks.before[task])]
        order.append(rng.choice(ready))
        left.discard(order[-1])
    return order


def check(tasks: Tasks, start: Sequence[int]) -> None:
    """Raise AssertionError where ``start`` is no schedule at all."""
    end = [begin + length for begin, length in zip(start, tasks.length, strict=True)]
    every = range(len(start))
    assert all(end[first] <= start[task] for task in every for first in tasks.before[task])
    for one in every:
        for other in range(one):
            apart = end[one] <= start[other] or end[other] <= start[one]
            assert apart or tasks.device[one] != tasks.device[other]
            late = tasks.phase[one] <= tasks.phase[other] or start[one] >= end[other]
            assert late
    for moment in start:
        busy = [t for t in every if start[t] <= moment < end[t] and not tasks.by_hand[t]]
        assert len(busy) <= tasks.width
