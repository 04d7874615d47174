"""``python -m tests.kills``: the example's run, killed by SIGKILL at every event of its ledger.

Each time over real sockets, in a process of its own, once just before the events are stored and
once just after; then resumed, and judged by the referee. Events that go to disk in one commit are
one death: there is nothing between them. Every death that goes wrong prints one line, which names
how to see it again. ``--only N`` tries one event, ``--step`` every so manieth, ``--at-once`` says
how many are tried at a time, each with simulated devices of its own.
"""

import argparse
import os
import sys
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context

from tests.kills.stretch import MOMENTS, Job, once, stretch
from tests.kills.trial import NEVER

STRETCH = 10


def main(arguments: list[str] | None = None) -> int:
    """Run it; 1 if any death went wrong."""
    given = _given(arguments)
    whole = once(NEVER, MOMENTS[0], given.playbook)
    if whole.wrong:
        say(f"without a death: {'; '.join(whole.wrong)}")
        return 1
    say(f"{whole.stored} events in the ledger of a run that nobody killed")
    last = whole.stored if given.last is None else min(given.last, whole.stored)
    numbers = range(given.only or given.first, (given.only or last) + 1)
    job = Job(tuple(given.playbook), given.step, whole.ends)
    count: Counter[str] = Counter()
    for died, wrong in _all(job, numbers, given.at_once):
        count["died"] += died
        count["wrong"] += len(wrong)
        for line in wrong:
            say(line)
        say(f"{count['died']} deaths, {count['wrong']} went wrong")
    say(f"{count['died']} deaths at events of the ledger, {count['wrong']} went wrong")
    return 1 if count["wrong"] or not count["died"] else 0


def _given(arguments: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.kills", description=__doc__)
    parser.add_argument("--playbook", action="append", default=[], help="of the example; all")
    parser.add_argument("--only", type=int, help="this event alone")
    parser.add_argument("--step", type=int, default=1, help="every so manieth event")
    parser.add_argument("--first", type=int, default=1, help="from this event on")
    parser.add_argument("--last", type=int, help="up to this event")
    parser.add_argument("--at-once", type=int, default=os.cpu_count() or 1, help="so many")
    return parser.parse_args(arguments)


def _all(job: Job, numbers: range, at_once: int) -> Iterator[tuple[int, list[str]]]:
    stretches = [numbers[start : start + STRETCH] for start in range(0, len(numbers), STRETCH)]
    if at_once == 1 or len(stretches) == 1:
        yield from map(partial(stretch, job), stretches)
        return
    with ProcessPoolExecutor(at_once, get_context("spawn")) as pool:
        yield from pool.map(partial(stretch, job), stretches)


def say(line: str) -> None:
    """Print one line, at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
