"""Whether planning is fast enough for a whole broadcaster.

``python -m tests.benchmarks.scale`` makes facilities of 100, 1,000 and 10,000 devices (or
``--devices N``: of N / 100, N / 10 and N) and prints, each measured in a process of its own:

- how long PyYAML's loader on libyaml (CSafeLoader) needs just to load the documents;
- how long changes, sequence and proof take, on values in memory; no more than half of that. What a
  dry-run tells besides (bounds, silences, listeners) is printed apart, and counts in the whole;
- how long the command ``cutsheet dry-run --as-found FILE --json`` needs from its start to its
  end: documents read and checked, the survey read, plan, proof, report; no more than twice that,
  and no more than 1.5 GiB of memory.

Everything is measured three times in turns, so that a slow minute slows all that is compared, and
the quickest counts. Times are the processor's, not the clock's: other work on the computer then
counts for less. The exit status is 1 if a target is missed.

Ten times the devices may cost twelve times the time. In each turn the smaller facility is planned
ten times for once of the larger, so that as many devices are planned of each in the same minutes,
and what they take in the mean is compared: the quickest of many short runs would fall into a quiet
moment of the computer that a run of ten times the length does not find. Of the turns the middle
one counts.

CSafeLoader runs as anybody runs it, the tool as its command does: it has Python look for garbage
seldom. What CSafeLoader needs that way is printed too, for information.
"""

import argparse
import json
import resource
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from itertools import chain, pairwise
from pathlib import Path
from statistics import fmean, median
from time import process_time
from typing import Any
from unittest.mock import patch

from orchestrator.adapters.open import traits_of
from orchestrator.cli.garbage import BETWEEN_LOOKS, look_seldom
from orchestrator.cli.main import run
from orchestrator.documents.as_found import read_as_found
from orchestrator.documents.folder import load
from orchestrator.errors import EXIT_FOUND
from orchestrator.planning import course, scheduled
from orchestrator.planning import dry_run as dry
from orchestrator.planning.scene import Scene, merge
from tests.benchmarks.broadcaster import Broadcaster

MOST_PLANNING = 0.5
MOST_WHOLE = 2.0
MOST_MEMORY = 1.5 * 1024
MOST_GROWTH = 12.0
TURNS = 3
TENFOLD = 10
BESIDES = {
    scheduled: ("length_bound", "silence_bounds", "_loans"),
    course: ("silences", "listener_lists", "mended"),
    dry: ("_silence",),
}
"""What the dry-run has worked out beside changes, sequence and proof, by the names it calls."""

Numbers = dict[str, float]
Found = dict[str, list[list[Numbers]]]
"""What was measured of one size, by what it is: turn by turn, each time that it was measured."""


class Stopwatch:
    """The processor's seconds that some functions take, together."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def around(self, function: Callable[..., Any]) -> Callable[..., Any]:
        """``function``, while its time is taken."""

        def timed(*given: Any, **named: Any) -> Any:
            start = process_time()
            try:
                return function(*given, **named)
            finally:
                self.seconds += process_time() - start

        return timed


def planning(folder: Path) -> Numbers:
    """Seconds from values in memory to a proved sequence."""
    look_seldom()
    documents = load(folder)
    plan, asked = documents.plan, merge(documents.playbooks)
    scene = Scene(
        plan=plan,
        found=read_as_found(folder / "as-found.json"),
        asked=asked,
        traits={
            name: traits_of(device, documents.descriptions) for name, device in plan.devices.items()
        },
        rooms=frozenset(plan.devices[name].room for name in asked),
    )
    besides = Stopwatch()
    with ExitStack() as stack:
        for module, names in BESIDES.items():
            for name in names:
                timed = besides.around(getattr(module, name))
                stack.enter_context(patch.object(module, name, timed))
        start = process_time()
        answer = dry.dry_run(scene)
        seconds = process_time() - start
    if answer.stopped or not answer.proved:
        raise SystemExit(f"the sequence was not proved: {answer.hazards[:3]}")
    return {
        "seconds": seconds - besides.seconds,
        "besides": besides.seconds,
        "changes": len(answer.changes),
        "steps": len(answer.sequence.steps),
        "lent": len(answer.lent),
    }


def whole(folder: Path) -> Numbers:
    """Seconds that the command needs, its own start included; its report goes nowhere."""
    given = ["dry-run", "--facility", str(folder), "--as-found", str(folder / "as-found.json")]
    try:
        run([*given, "--json"])
    except SystemExit as end:
        if end.code != EXIT_FOUND:
            raise
    return {"seconds": process_time()}


MEASURES: dict[str, Callable[[Path], Numbers]] = {"planning": planning, "whole": whole}
LOOKS = {"libyaml": 700, "libyaml, garbage seldom": BETWEEN_LOOKS}


def measure(what: str, folder: Path) -> None:
    """Measure one thing in this process, and write the numbers to standard error as JSON."""
    numbers = MEASURES[what](folder)
    numbers["mib"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    sys.stderr.write(json.dumps(numbers) + "\n")


def documents(folder: Path) -> list[Path]:
    """The plan and the playbooks."""
    return [folder / "plan.yaml", *sorted(folder.glob("playbooks/*.yaml"))]


def commands(folder: Path) -> dict[str, list[str]]:
    """What is measured, each as the arguments of a Python of its own."""
    files = list(map(str, documents(folder)))
    return {
        **{what: ["tests.benchmarks.libyaml", str(n), *files] for what, n in LOOKS.items()},
        **{what: ["tests.benchmarks.scale", "--measure", what, str(folder)] for what in MEASURES},
    }


def measured(command: list[str]) -> Numbers:
    """What a process that measures one thing says; its report goes nowhere."""
    # Were the report kept here, this process would grow, and its memory count as its children's.
    done = subprocess.run(
        [sys.executable, "-m", *command],
        check=True,
        text=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    numbers: Numbers = json.loads(done.stderr.splitlines()[-1])
    return numbers


def in_turns(folders: Mapping[int, Path]) -> dict[int, Found]:
    """By devices, all that was measured; in turns: a slow minute slows each size of them."""
    found: dict[int, Found] = {devices: defaultdict(list) for devices in folders}
    for _ in range(TURNS):
        for devices, folder in folders.items():
            for what, command in commands(folder).items():
                again = TENFOLD if what == "planning" and devices < max(folders) else 1
                found[devices][what].append([measured(command) for _ in range(again)])
    return found


def quickest(found: Found, what: str) -> Numbers:
    """What took the fewest seconds of all that was measured of one thing."""
    return min(chain(*found[what]), key=lambda numbers: numbers["seconds"])


def growth(small: Found, large: Found, what: str) -> list[float]:
    """How many times as long one thing takes in the larger facility, turn by turn."""
    return [
        fmean(one["seconds"] for one in longer) / fmean(one["seconds"] for one in shorter)
        for shorter, longer in zip(small[what], large[what], strict=True)
    ]


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def sizes(counts: Sequence[int]) -> list[Found]:
    """Make facilities of so many devices, measure all there is to measure, and print it."""
    with tempfile.TemporaryDirectory() as name:
        folders = {devices: Path(name) / str(devices) for devices in counts}
        # In another process: what this one held at most would count as its children's memory.
        with ProcessPoolExecutor(1) as elsewhere:
            list(elsewhere.map(_write, folders.items()))
        found = in_turns(folders)
        for devices, folder in folders.items():
            mib = sum(path.stat().st_size for path in documents(folder)) / 1024**2
            tell(devices, mib, found[devices])
    return list(found.values())


def _write(facility: tuple[int, Path]) -> None:
    devices, folder = facility
    Broadcaster(devices).write(folder)


def tell(devices: int, mib: float, found: Found) -> None:
    """Print what was measured of one size; ``mib`` is how much its documents hold."""
    base, plan = quickest(found, "libyaml")["seconds"], quickest(found, "planning")
    say(f"{devices} devices, {mib:.1f} MiB of YAML: {plan['changes']} changes,")
    say(f"  {plan['steps']} steps, {plan['lent']} rings")
    for what in found:
        numbers = quickest(found, what)
        seconds, peak = numbers["seconds"], numbers["mib"]
        say(f"  {what:24} {seconds:8.2f} s  {seconds / base:6.2f} x  {peak:6.0f} MiB")
        if besides := numbers.get("besides"):
            say(f"    bounds, silences, lists {besides:6.2f} s  {besides / base:6.2f} x  besides")


def missed(by_size: Sequence[Found]) -> list[str]:
    """The targets that are missed: the ratios at the largest size, and the growth."""
    found: list[str] = []

    def most(what: str, value: float, limit: float) -> None:
        say(f"{what}: {value:.2f}, at most {limit:g}")
        if value > limit:
            found.append(what)

    last = by_size[-1]
    base, dry_run = quickest(last, "libyaml")["seconds"], quickest(last, "whole")
    most("planning against libyaml", quickest(last, "planning")["seconds"] / base, MOST_PLANNING)
    most("whole against libyaml", dry_run["seconds"] / base, MOST_WHOLE)
    most("memory of the whole, MiB", dry_run["mib"], MOST_MEMORY)
    for what in MEASURES:
        for number, (small, large) in enumerate(pairwise(by_size), 1):
            turns = sorted(growth(small, large, what))
            told = ", ".join(f"{ratio:.2f}" for ratio in turns)
            step = f"{what}, ten times the devices, step {number} (by turns {told})"
            most(step, median(turns), MOST_GROWTH)
    return found


def main() -> int:
    """Measure, print, and give 1 if a target is missed."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.scale")
    parser.add_argument("--devices", type=int, default=10_000, help="of the largest facility")
    parser.add_argument("--measure", nargs=2, metavar=("WHAT", "FOLDER"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.measure:
        measure(given.measure[0], Path(given.measure[1]))
        return 0
    counts = [count for part in (100, 10, 1) if (count := given.devices // part) >= 100]
    failed = missed(sizes(counts))
    say("missed: " + "; ".join(failed) if failed else "every target was met")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
