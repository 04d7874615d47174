"""``python -m tests.kills``: the example's run, killed by SIGKILL at every event of its ledger.

Each time over real sockets, in a process of its own, once just before the events are stored and
once just after; then resumed, and judged by the referee. Every death that goes wrong prints one
line, which names how to see it again. ``--only N`` tries one event, ``--step`` every so manieth.
"""

import argparse
import itertools
import sys
import tempfile
from pathlib import Path

from tests.kills.trial import die

MOMENTS = ("before", "after")


def main(arguments: list[str] | None = None) -> int:
    """Run it; 1 if any death went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--playbook", action="append", default=[], help="of the example; all")
    parser.add_argument("--only", type=int, help="this event alone")
    parser.add_argument("--step", type=int, default=1, help="every so manieth event")
    parser.add_argument("--first", type=int, default=1, help="from this event on")
    options = parser.parse_args(arguments)
    numbers = [options.only] if options.only else itertools.count(options.first, options.step)
    deaths = failed = 0
    for number in numbers:
        survived = 0
        for moment in MOMENTS:
            with tempfile.TemporaryDirectory() as folder:
                found = die(Path(folder), number, moment, *options.playbook)
            deaths += found.died
            survived += not found.died
            if found.wrong:
                failed += 1
                again = "".join(f" --playbook {name}" for name in options.playbook)
                say(f"python -m tests.kills --only {number}{again}  # {moment}: {found.wrong}")
        if survived:
            break  # the run has no more events than that
        if deaths % 20 < len(MOMENTS):
            say(f"event {number}: {deaths} deaths, {failed} went wrong")
    say(f"{deaths} deaths at events of the ledger, {failed} went wrong")
    return 1 if failed else 0


def say(line: str) -> None:
    """Print one line, at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
