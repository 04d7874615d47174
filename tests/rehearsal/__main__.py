"""Rehearsals of random facilities under random faults: no safety rule may be broken in any.

``python -m tests.rehearsal [--seeds N] [--from K] [--devices D] [--times T] [--processes P]``. Each
seed is a random small facility, planned, and rehearsed T times with none to three faults drawn by
chance, as ``rehearse`` does it, on one of the terms for a failure. A run that pauses has to finish
by resumes once the trouble is over. A seed that fails prints one line that does it again. Exit
status: 0 nothing was wrong, 1 something was.
"""

import argparse
import os
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from functools import partial
from multiprocessing import Pool

from orchestrator.rehearsal.rehearse import many
from orchestrator.running.rehearsed import Time
from orchestrator.running.terms import AfterFailure, Terms
from tests.rehearsal.premises_of import premises
from tests.simulation.scene import job

MOST_FAULTS = 3


def attempt(seed: int, devices: int, times: int) -> tuple[int, tuple[Time, ...]]:
    """Rehearse the facility of a seed: none where the planner refuses it."""
    made = job(seed, devices)
    if made is None or not made.plan.sequence.steps:
        return seed, ()
    policy = tuple(AfterFailure)[seed // (MOST_FAULTS + 1) % len(AfterFailure)]
    told = many(
        premises(made.scene, made.plan.sequence, terms=Terms(after_failure=policy)),
        times=times,
        seed=seed,
        words=lambda step: str(step.kind),
        drawn=seed % (MOST_FAULTS + 1),
    )
    return seed, told.times


def wrong(times: Iterable[Time]) -> str:
    """What was wrong with the first that had anything; empty if none had."""
    for time in times:
        under = ", ".join(map(str, time.faults)) or "no fault"
        if time.broken:
            return f"{time.broken[0]} (rehearsal {time.seed}, under {under})"
        if time.resumes is None:
            why = "; ".join(held.why for held in time.held)
            return f"no resume finishes it: {why} (rehearsal {time.seed}, under {under})"
    return ""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the seeds and print what came of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.rehearsal")
    parser.add_argument("--seeds", type=int, default=2000)
    parser.add_argument("--from", type=int, default=0, dest="first")
    parser.add_argument("--devices", type=int, default=4)
    parser.add_argument("--times", type=int, default=4)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args(arguments)
    count: Counter[str] = Counter()
    one = partial(attempt, devices=given.devices, times=given.times)
    with Pool(given.processes) as pool:
        seeds = range(given.first, given.first + given.seeds)
        for seed, times in pool.imap_unordered(one, seeds, chunksize=10):
            count["rehearsals"] += len(times)
            count["under faults"] += sum(bool(time.faults) for time in times)
            count["finished by themselves"] += sum(time.finished for time in times)
            if what := wrong(times):
                count["seeds that failed"] += 1
                again = f"--from {seed} --seeds 1 --devices {given.devices} --times {given.times}"
                sys.stdout.write(f"seed {seed}: {what}. Again: python -m tests.rehearsal {again}\n")
                sys.stdout.flush()
    for name in ("rehearsals", "under faults", "finished by themselves", "seeds that failed"):
        sys.stdout.write(f"{name:24} {count[name]}\n")
    return 1 if count["seeds that failed"] else 0


if __name__ == "__main__":
    sys.exit(main())
