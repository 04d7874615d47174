"""Many seeds of the whole thing, without sockets and without waiting.

``python -m tests.simulation [--seeds N] [--from K] [--devices D] [--processes P] [--everywhere]
[--batches]``.
Each seed is a random small facility, planned; a run of it on a simulated network with every sort
of trouble; and every way on from there: resumed, taken back, stopped in between. No safety rule
may be broken, no event lost, no report untrue, and both ways have to lead where they should.
``--everywhere`` stops the process after each event instead, one after the other. With ``--batches``
some of the devices take several steps in one request. A seed that fails
prints one line that does it again. Exit status: 0 nothing was wrong, 1 something was.
"""

import argparse
import os
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import partial
from multiprocessing import Pool

from tests.simulation.trial import Told, everywhere, trial


def attempt(seed: int, devices: int, *, stops: bool = False, batches: bool = False) -> Told:
    """Try one seed; what is raised is a failure like any other."""
    try:
        return (everywhere if stops else trial)(seed, devices, batches=batches)
    except Exception as error:  # noqa: BLE001 - a seed that raises is told like one that fails
        return Told(seed, [f"raised {type(error).__name__}: {error}"])


def failing(told: Told, devices: int, *, stops: bool = False, batches: bool = False) -> str:
    """One line: what was wrong with a seed, and how to see it again."""
    more = f"{' --everywhere' if stops else ''}{' --batches' if batches else ''}"
    again = f"python -m tests.simulation --from {told.seed} --seeds 1 --devices {devices}{more}"
    return f"seed {told.seed}: {told.broken[0]}. Again: {again}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the seeds and print what came of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation")
    parser.add_argument("--seeds", type=int, default=2000)
    parser.add_argument("--from", type=int, default=0, dest="first")
    parser.add_argument("--devices", type=int, default=4)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--everywhere", action="store_true")
    parser.add_argument("--batches", action="store_true")
    given = parser.parse_args(arguments)
    began = time.monotonic()
    counted: Counter[str] = Counter()
    wrong = 0
    how = {"stops": given.everywhere, "batches": given.batches}
    one = partial(attempt, devices=given.devices, **how)
    for told in _all(one, range(given.first, given.first + given.seeds), given.processes):
        counted.update(told.counted)
        if told.broken:
            wrong += 1
            line = failing(told, given.devices, **how)
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()
    for name, number in sorted(counted.items()):
        sys.stdout.write(f"{name:40} {number}\n")
    pace = given.seeds / max(time.monotonic() - began, 0.001)
    sys.stdout.write(f"{'seeds':40} {given.seeds}, {pace:.0f} a second\n")
    sys.stdout.write(f"{'seeds that failed':40} {wrong}\n")
    return 1 if wrong else 0


def _all(one: "partial[Told]", seeds: range, processes: int) -> Iterator[Told]:
    if processes == 1 or len(seeds) == 1:
        yield from map(one, seeds)
        return
    with Pool(processes) as pool:
        yield from pool.imap_unordered(one, seeds, chunksize=20)


if __name__ == "__main__":
    sys.exit(main())
