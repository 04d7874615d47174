"""Random safety: many seeded facilities through planner, proof and a step-by-step simulator.

``python -m tests.benchmarks.safety [--seeds N] [--first SEED] [--orders K]``. No sequence may break
a rule in any of the random orders tried; the proof must hold for each; and where the planner says
that a ring can't be broken, an exhaustive search over the moves must agree. A seed that fails
prints one line that does it again. Exit status: 0 nothing was broken, 1 something was.
"""

import argparse
import random
import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from ipaddress import IPv4Address
from multiprocessing import Pool

from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import AddressRange, Network
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.result import DryRun
from tests.planning.scenes import MEDIA, Box, address, random_boxes, scene
from tests.planning.simulator import run

BY_DOCUMENT = frozenset({"ambiguous", "dangling"})
"""Refusals that only a person can lift, by saying in a document what a listener is to hear."""


def media_of(seed: int) -> Network:
    """The test network, with a few transit numbers and addresses, or none."""
    rng = random.Random(seed + 1)
    numbers = rng.choice([0, 1, 1, 2, 4])
    addresses = rng.choice([0, 1, 2])
    numbering = MEDIA.numbering
    assert numbering is not None
    transit = NumberRange(2990, 2989 + numbers) if numbers else None
    first = IPv4Address("127.44.3.230")
    return replace(
        MEDIA,
        numbering=replace(numbering, transit=transit),
        transit=(AddressRange(first, first + addresses - 1),) if addresses else (),
    )


def one(job: tuple[int, int]) -> tuple[Counter[str], list[str]]:
    """Try one seed in so many random orders; what was counted, and what went wrong."""
    seed, orders = job
    boxes, media = random_boxes(seed), media_of(seed)
    facility = scene(boxes, media=media)
    plan = dry_run(facility)
    again = f"python -m tests.benchmarks.safety --first {seed} --seeds 1 --orders {orders}"
    if plan.stopped:
        return _refused(seed, plan, boxes, media, again)
    wrong = [] if plan.proved else [f"seed {seed}: not proved. Again: {again}"]
    for order in range(orders):
        broken = run(facility, plan.sequence, seed * 1000 + order).broken
        if broken:
            wrong.append(f"seed {seed}: {broken[0]}. Again: {again}")
            break
    return Counter(planned=1, steps=len(plan.sequence.steps)), wrong


def _refused(
    seed: int, plan: DryRun, boxes: Mapping[str, Box], media: Network, again: str
) -> tuple[Counter[str], list[str]]:
    names = {hazard.name.split(":")[0] for hazard in plan.hazards if hazard.blocks}
    if names & BY_DOCUMENT:
        return Counter({"refused: a listener's wish is open": 1}), []
    kinds = [hazard.rule for hazard in plan.hazards if hazard.blocks]
    solvable = all(solve(*problem) for rule, problem in _problems(boxes, media) if rule in kinds)
    wrong = [f"seed {seed}: refused ({names}), yet there is a way. Again: {again}"]
    return Counter({"refused: no transit is left": 1}), wrong if solvable else []


def _problems(
    boxes: Mapping[str, Box], media: Network
) -> Iterator[tuple[str, tuple[Sequence[object], Sequence[object], Sequence[object]]]]:
    """The moves of numbers (H1) and of addresses (H2): where each is, where it is to be, spares."""
    here, there = [], []
    for box in boxes.values():
        if box.at is not None:
            continue
        for name, (number, _) in box.sources.items():
            here.append(number)
            there.append(box.wants.get(name, (number, None))[0])
    transit = media.numbering.transit if media.numbering is not None else None
    yield "H1", (here, there, tuple(transit or ()))
    standing = [box for box in boxes.values() if box.at is None]
    spare = tuple(
        str(IPv4Address(value))
        for span in media.transit
        for value in range(int(span.first), int(span.last) + 1)
    )
    at = [address(box.host) for box in standing]
    yield "H2", (at, [box.to or where for box, where in zip(standing, at, strict=True)], spare)


def solve(here: Sequence[object], there: Sequence[object], spare: Sequence[object]) -> bool:
    """Whether some order of moves leads from ``here`` to ``there``, by looking at every one.

    One moves at a time, to where it is wanted or to a spare, and only where nobody is. Several may
    stand on one place at the start (a fault that is there); none is ever moved onto another.
    """
    start, goal = tuple(here), tuple(there)
    seen, open_states = {start}, [start]
    while open_states:
        state = open_states.pop()
        if state == goal:
            return True
        for index, wanted in enumerate(goal):
            if state[index] == wanted:
                continue
            for place in (wanted, *spare):
                if place in state:
                    continue
                after = (*state[:index], place, *state[index + 1 :])
                if after not in seen:
                    seen.add(after)
                    open_states.append(after)
    return False


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the seeds and print what came of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.safety")
    parser.add_argument("--seeds", type=int, default=20_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--orders", type=int, default=3)
    given = parser.parse_args(arguments)
    jobs = [(seed, given.orders) for seed in range(given.first, given.first + given.seeds)]
    counted: Counter[str] = Counter()
    wrong: list[str] = []
    with Pool(2) as pool:
        for count, failures in pool.imap_unordered(one, jobs, chunksize=50):
            counted.update(count)
            wrong += failures
    for name, number in sorted(counted.items()):
        sys.stdout.write(f"{name:40} {number}\n")
    sys.stdout.write("\n".join([*wrong, f"{'rules broken or wrongly refused':40} {len(wrong)}\n"]))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
