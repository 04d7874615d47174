"""How near the planner comes to the least silence and the least length: ratios, one command.

``python -m tests.benchmarks.silence``: the planner's sequences, carried out on paper step by step,
against CP-SAT on the same tasks in the same run; against the plain way (silence all, change all,
bring all back) on a facility of 50 rooms; and against the lower bound of the length. Exit status 1
if a ratio is missed. ``--seconds`` is CP-SAT's time for each part of each larger facility.
"""

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import mean

from orchestrator.facility.step import StepKind
from orchestrator.planning.scheduling.carry import carry
from tests.benchmarks.best import Best, best
from tests.benchmarks.facilities import fifty_rooms
from tests.benchmarks.instances import Instance, instance, instances

SMALL_MEAN, SMALL_WORST, LARGE_MEAN, LENGTH_MEAN, PLAIN_LEAST = 1.03, 1.10, 1.05, 1.20, 10.0


@dataclass(frozen=True, slots=True)
class Measured:
    """One facility: the planner's silence by that of CP-SAT, and its length by the bound."""

    silence: float
    length: float
    best: Best


def say(line: str) -> None:
    """Print one line, at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def ratio(ours: Sequence[int], theirs: Sequence[int]) -> float:
    """The worst ratio of the levels: what feeds on-air destinations first, then everybody."""
    return max((a / b for a, b in zip(ours, theirs, strict=True) if b), default=1.0)


def measure(one: Instance, seconds: float, workers: int) -> Measured:
    """Let CP-SAT try one facility."""
    levels = (one.on_air, one.every)
    found = best(one.tasks, levels, seconds, workers)
    ours = [one.cost(level) for level in levels]
    estimate = one.planned.estimate
    return Measured(ratio(ours, found.cost), estimate.seconds / estimate.bound_seconds, found)


def compare(wanted: int, devices: int, sources: int, options: argparse.Namespace) -> list[Measured]:
    """Measure so many facilities, and print what each came to if asked."""
    seconds = options.seconds
    found: list[Measured] = []
    took: list[float] = []
    say(f"Facilities of up to {devices} devices and {sources} sources: {wanted}")
    began = time.perf_counter()
    for one in instances(wanted, options.first, devices=devices, sources=sources):
        took.append(time.perf_counter() - began)
        measured = measure(one, seconds, options.workers)
        found.append(measured)
        if options.verbose:
            say(
                f"  seed {one.seed}: {len(one.tasks.length)} steps, {len(one.every)} silences, "
                f"silence {measured.silence:.3f}, length {measured.length:.3f}, "
                f"{'proved' if measured.best.proved else 'not proved'}, bound "
                f"{ratio(measured.best.bound, measured.best.cost):.3f} of CP-SAT's best"
            )
        began = time.perf_counter()
    say(f"  planning took {mean(took):.2f} s in the mean, {max(took):.2f} s at most")
    return found


def plain(one: Instance) -> int:
    """The silence of all sources if all go silent, then all is changed, then all come back."""
    kinds = {step.order: step.kind for step in one.planned.sequence.steps}
    assert len(kinds) == len(one.tasks.length)
    offs = {off for off, _, _ in one.every}
    stage = [0 if task in offs else 1 for task in range(len(one.tasks.length))]
    late = [on for _, on, _ in one.every]
    while late:
        task = late.pop()
        if stage[task] != 2:
            stage[task] = 2
            late.extend(one.tasks.later[task])
    tasks = replace(one.tasks, phase=tuple(stage))
    start = carry(tasks, range(len(stage)))
    return sum(w * (start[on] + tasks.length[on] - start[off]) for off, on, w in one.every)


def check(what: str, found: float, most: float) -> bool:
    """Print one ratio and whether it holds."""
    held = found <= most
    say(f"  {what}: {found:.3f}, wanted at most {most:.2f}: {'held' if held else 'MISSED'}")
    return held


def small(options: argparse.Namespace) -> bool:
    """Against the proved optimum."""
    found = compare(options.small, 6, 14, options)
    proved = [one.silence for one in found if one.best.proved]
    say(f"  CP-SAT proved its optimum for {len(proved)} of {len(found)}")
    if not proved:
        return False
    held = [
        check("silence by the proved optimum, mean", mean(proved), SMALL_MEAN),
        check("silence by the proved optimum, worst", max(proved), SMALL_WORST),
        check("length by its lower bound, mean", mean(o.length for o in found), LENGTH_MEAN),
    ]
    say(f"  silence by CP-SAT's best, proved or not, mean: {mean(o.silence for o in found):.3f}")
    return all(held)


def large(options: argparse.Namespace) -> bool:
    """Against the best found in the time."""
    found = compare(options.large, 12, 40, options)
    held = [
        check("silence by CP-SAT's best, mean", mean(o.silence for o in found), LARGE_MEAN),
        check("length by its lower bound, mean", mean(o.length for o in found), LENGTH_MEAN),
    ]
    bounds = [ratio(one.best.bound, one.best.cost) for one in found]
    proved = sum(one.best.proved for one in found)
    say(f"  CP-SAT's bound by its best, mean: {mean(bounds):.3f}; proved: {proved}")
    return all(held)


def fifty() -> bool:
    """Against the plain way."""
    say("Fifty rooms")
    one = instance(fifty_rooms())
    if one is None:
        return False
    ours, theirs = one.cost(one.every), plain(one)
    steps = one.planned.sequence.steps
    off = sum(step.kind is StepKind.DISABLE for step in steps)
    say(f"  {len(steps)} steps, {off} disables, {len(one.planned.sequence.phases)} phases")
    say(f"  silence {ours / 1000:.0f} s, the plain way {theirs / 1000:.0f} s (by listeners)")
    held = theirs / ours >= PLAIN_LEAST
    say(f"  times less: {theirs / ours:.1f}, wanted at least 10: {'held' if held else 'MISSED'}")
    estimate = one.planned.estimate
    say(f"  length by its lower bound: {estimate.seconds / estimate.bound_seconds:.3f}")
    return held


def main() -> int:
    """Run it all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", type=int, default=100, help="how many small facilities")
    parser.add_argument("--large", type=int, default=30, help="how many larger facilities")
    parser.add_argument("--seconds", type=float, default=60.0, help="CP-SAT's time for each part")
    parser.add_argument("--workers", type=int, default=2, help="CP-SAT's threads")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--verbose", action="store_true", help="print each facility")
    options = parser.parse_args()
    held = [fifty()]
    if options.small:
        held.append(small(options))
    if options.large:
        held.append(large(options))
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
