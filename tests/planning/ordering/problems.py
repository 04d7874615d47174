"""Small scheduling problems by seed, and the best of each by trying every order."""

import random
from collections.abc import Iterator, Sequence

from orchestrator.planning.ordering.tasks import Tasks


def problem(seed: int, sources: int = 2, width: int = 16) -> Tasks:
    """A few sources on a few devices: each disable, write, enable; writes wait for one another."""
    rng = random.Random(seed)
    device: list[int] = []
    length: list[int] = []
    before: list[tuple[int, ...]] = []
    silences = []
    writes: list[int] = []
    for _ in range(sources):
        own = rng.randrange(2)
        off, write, on = (len(length) + i for i in range(3))
        device += [own] * 3
        length += [rng.choice([10, 20, 30]) for _ in range(3)]
        waits = [other for other in writes if rng.random() < 0.5]
        before += [(), (off, *waits), (off, write)]
        writes.append(write)
        silences.append((off, on, rng.choice([1, 1, 2])))
    later: list[list[int]] = [[] for _ in length]
    for task, firsts in enumerate(before):
        for first in firsts:
            later[first].append(task)
    return Tasks(
        length=tuple(length),
        device=tuple(device),
        phase=(0,) * len(length),
        by_hand=(False,) * len(length),
        before=tuple(before),
        later=tuple(map(tuple, later)),
        silences=tuple(silences),
        width=width,
    )


def orders(tasks: Tasks, done: tuple[int, ...] = ()) -> Iterator[tuple[int, ...]]:
    """Every order that agrees with ``before``."""
    if len(done) == len(tasks.length):
        yield done
    for task in range(len(tasks.length)):
        if task not in done and set(tasks.before[task]) <= set(done):
            yield from orders(tasks, (*done, task))


def breaks(tasks: Tasks, start: Sequence[int]) -> list[str]:
    """What a schedule breaks: waits, devices that do two things at once, the width."""
    end = [begin + length for begin, length in zip(start, tasks.length, strict=True)]
    found = [
        f"{task} starts before {first} has ended"
        for task, firsts in enumerate(tasks.before)
        for first in firsts
        if start[task] < end[first]
    ]
    for at in sorted(set(start)):
        now = [t for t in range(len(start)) if start[t] <= at < end[t]]
        devices = [tasks.device[t] for t in now]
        if len(set(devices)) < len(devices):
            found.append(f"a device does two things at {at}")
        if len(now) > tasks.width:
            found.append(f"{len(now)} at once at {at}")
    return found
