"""Whether a run is as quick as its devices allow.

``python -m tests.benchmarks.makespan`` makes a facility of 500 simulated devices at loopback
addresses of their own, in another process, each of which takes 50 ms for a request; has every
source of it renumbered and its listener follow, 64 devices at a time, by the real survey, plan,
ledger, notes and sockets; and prints, all of one run:

- makespan: from the first intent to the last event, against the dry-run's proved bound; at most
  1.10 of it. The bound counts on the pace that the survey measured; against one that counts on
  50 ms a request, nothing of the computer's own, it is printed for information;
- what the run takes longer for ledger and verification, together; at most a tenth of the makespan.
  Of the ledger: the time for which turns were kept, and nothing asked of the device, until events
  were on disk, notes included, as a part of the time of all 64 turns. (A device that is looked at
  meanwhile loses nothing; one of which only a proof is still to be stored has left its turn to
  another: that is printed for information.) Of verification: the time in which the machine judged
  what was read and found the next step; nothing else goes on meanwhile. Both count waiting for the
  processor, too;
- the processor's time for a request, all of the tool's work in it, against a bare
  ``httpx.AsyncClient`` that sends the same requests to the same devices; at most 1.5 of that.

With ``--runs N`` all of it is done N times, each time in a process of its own, and printed. The
exit status is 1 if a target is missed in any of them.
"""

import argparse
import asyncio
import base64
import io
import json
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from unittest.mock import patch

import httpx
import yaml

from orchestrator.actions.apply import Attendance, apply, order_of
from orchestrator.actions.desk import open_desk
from orchestrator.actions.propose import Choice, propose
from orchestrator.cli.garbage import look_often, look_seldom
from orchestrator.facility.secret import Secret
from orchestrator.ledger.store import SqliteLedger
from orchestrator.planning.result import DryRun
from orchestrator.reports.progress import Progress
from orchestrator.running.events import Intended, Proved, Sent
from orchestrator.running.operations import Operation, Outcome, Read, Store
from orchestrator.running.run import Run
from tests.benchmarks.made_units import ANSWER_S, PORT, SECRET, USER, Units, address

MOST_MAKESPAN, MOST_OWN, MOST_CPU = 1.10, 0.10, 1.5
EXAMPLE = Path(__file__).parents[2] / "playbooks" / "devices" / "corvid-engine.yaml"


def documents(folder: Path, count: int) -> Path:
    """Write the plan, the device description, and the playbook that renumbers everything."""
    units = Units(count)
    plan = {
        "facility": "Tern Point Radio",
        "networks": {
            "media": {
                "subnet": "127.46.0.0/16",
                "numbering": {
                    "range": "1-9999",
                    "transit": "9990-9999",
                    "numbers_per_host": 10,
                    "first_in_block": 1,
                    "group_range": "239.194.0.0/16",
                    "port": 5004,
                },
            }
        },
        "rooms": {"hall": {"site": "point", "network": "media"}},
        "devices": {
            unit: {
                "room": "hall",
                "speaks": "corvid-engine",
                "address": address(n),
                "serial": f"CV-{n:05}",
                "credentials": "units",
                "sources": {"program-1": {"number": units.number(n), "enabled": True}},
                "destinations": {"codec-1": {"listens_to": f"{units.heard(n)}/program-1"}},
            }
            for n, unit in enumerate(units.names)
        },
    }
    wanted = {
        unit: {"sources": {"program-1": {"number": units.number(n) + 1}}}
        for n, unit in enumerate(units.names)
    }
    (folder / "playbooks").mkdir(parents=True)
    (folder / "devices").mkdir()
    _write(folder / "plan.yaml", plan)
    _write(folder / "playbooks" / "all.yaml", {"playbook": "All of it", "devices": wanted})
    described = EXAMPLE.read_text(encoding="utf-8").replace("port: 8080", f"port: {PORT}")
    (folder / "devices" / EXAMPLE.name).write_text(described, encoding="utf-8")
    return folder


def _write(path: Path, document: object) -> None:
    path.write_text(yaml.safe_dump(document, sort_keys=False), encoding="utf-8")


class Agreeing:
    """Somebody who says go."""

    async def ask(self, question: str, text: Sequence[str]) -> tuple[bool, str]:
        """Go."""
        del question, text
        return True, "the benchmark"


@dataclass
class Watch:
    """What a run's own work takes, in seconds: ``beside`` are the waits that cost no turn."""

    waited: float = 0.0
    beside: float = 0.0
    judged: float = 0.0
    asked: dict[int, float] = field(default_factory=dict)  # stores, and since when they are alone
    looks: dict[int, int] = field(default_factory=dict)  # those that go along with such a store
    stores: dict[int, int] = field(default_factory=dict)  # and the other way round

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Watch every run while inside."""
        ready, settle = Run.ready, Run.settle

        def watched_ready(run: Run) -> tuple[Operation, ...]:
            start = time.perf_counter()
            found = ready(run)
            now = time.perf_counter()
            self.judged += now - start
            self._begun(found, now)
            return found

        def watched_settle(run: Run, operation: Operation, outcome: Outcome) -> None:
            start = time.perf_counter()
            self._ended(operation, start)
            settle(run, operation, outcome)
            self.judged += time.perf_counter() - start

        with patch.object(Run, "ready", watched_ready), patch.object(Run, "settle", watched_settle):
            yield

    def _begun(self, found: Sequence[Operation], now: float) -> None:
        for one, other in pairwise((*found, None)):
            if isinstance(one, Store):
                self.asked[id(one)] = now
                if isinstance(other, Read) and Intended(other.step.id) in one.events:
                    self.looks[id(one)], self.stores[id(other)] = id(other), id(one)

    def _ended(self, operation: Operation, now: float) -> None:
        if isinstance(operation, Store):
            waited = now - self.asked.pop(id(operation))
            look = self.looks.pop(id(operation), None)
            if look is not None and self.stores.pop(look, None) is not None:
                return  # it is being looked at
            if all(isinstance(event, Sent | Proved) for event in operation.events):
                self.beside += waited
            else:
                self.waited += waited
        elif (store := self.stores.pop(id(operation), None)) is not None:
            self.asked[store] = now


@dataclass(frozen=True)
class Measured:
    """One run, measured. Times in seconds."""

    plan: DryRun
    makespan: float
    watch: Watch
    cpu: float


def measured(folder: Path, width: int) -> Measured:
    """Survey, plan and apply; the real thing, but for the person."""
    desk = open_desk(folder, secrets=lambda _: Secret(USER, SECRET))
    found = asyncio.run(desk.survey())
    plan = propose(desk, found, Choice(width=width))
    order = order_of("All of it", plan, found)
    screen = io.StringIO()
    attendance = Attendance(
        person=Agreeing(), reporter_for=lambda record, events: Progress(record, screen, events)
    )
    _ask("/begin")
    look_often()  # as the command does before it drives devices
    watch, cpu = Watch(), time.process_time()
    with watch.watching():
        ended = asyncio.run(apply(desk, order, attendance))
    cpu = time.process_time() - cpu
    if not ended.finished or ended.run is None:
        raise SystemExit(f"the run did not finish: {ended.why}")
    with SqliteLedger(folder) as ledger:
        times = [at for at, _ in ledger.timeline(ended.run)]
    makespan = (times[-1] - times[0]).total_seconds()
    return Measured(plan, makespan, watch, cpu)


def _ask(path: str) -> bytes:
    return httpx.get(f"http://{address(0)}:{PORT}{path}", trust_env=False, timeout=60).content


def bare(sent: list[dict[str, str]], width: int) -> float:
    """Send the same requests by bare clients, one a device; the processor's time for one."""
    by_device: dict[str, list[dict[str, str]]] = defaultdict(list)
    for one in sent:
        by_device[one["at"]].append(one)
    signed = base64.b64encode(f"{USER}:{SECRET}".encode()).decode()

    async def device(at: str, gate: asyncio.Semaphore) -> None:
        async with gate, httpx.AsyncClient(trust_env=False, verify=False, timeout=10) as client:  # noqa: S501 - plain http
            for one in by_device[at]:
                await client.request(
                    one["method"],
                    f"http://{at}:{PORT}{one['path']}",
                    content=one["body"].encode() or None,
                    headers={"Authorization": f"Basic {signed}"},
                )

    async def all_of_them() -> None:
        gate = asyncio.Semaphore(width)
        await asyncio.gather(*(device(at, gate) for at in by_device))

    start = time.process_time()
    asyncio.run(all_of_them())
    return (time.process_time() - start) / len(sent)


@contextmanager
def serving(count: int) -> Iterator[None]:
    """Have the devices answer from another process, so that their work is not counted."""
    call = [sys.executable, "-m", "tests.benchmarks.made_units", str(count)]
    with subprocess.Popen(call, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            if process.stdout.readline() != "ready\n":
                raise SystemExit("the simulated devices did not start")
            yield
        finally:
            process.kill()


def _line(what: str, ratio: float, most: float, how: str) -> bool:
    met = ratio <= most
    word = "met" if met else "MISSED"
    sys.stdout.write(f"{what:<44}{ratio:7.3f}   at most {most:.2f}   {word}   {how}\n")
    return met


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure, print, and say whether every target was met."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--devices", type=int, default=500)
    parser.add_argument("--width", type=int, default=64)
    parser.add_argument("--runs", type=int, default=1)
    given = parser.parse_args(arguments)
    if given.runs > 1:
        once = [sys.executable, "-m", "tests.benchmarks.makespan", "--runs", "1"]
        same = ["--devices", str(given.devices), "--width", str(given.width)]
        ends = [subprocess.run([*once, *same], check=False) for _ in range(given.runs)]
        return max(end.returncode for end in ends)
    look_seldom()
    with tempfile.TemporaryDirectory() as name, serving(given.devices):
        run = measured(documents(Path(name) / "facility", given.devices), given.width)
        sent = json.loads(_ask("/sent"))
        each = bare(sent, given.width)
    return _told(run, sent, each, given.width)


def _told(run: Measured, sent: list[dict[str, str]], each: float, width: int) -> int:
    bound = run.plan.estimate.bound_seconds
    busiest = max(Counter(one["at"] for one in sent).values())
    plain = ANSWER_S * max(busiest, len(sent) / width)
    waited, beside = (
        seconds / width / run.makespan for seconds in (run.watch.waited, run.watch.beside)
    )
    judged = run.watch.judged / run.makespan
    own = run.cpu / len(sent)
    sys.stdout.write(
        f"{len(run.plan.sequence.steps)} steps, {len(sent)} requests, "
        f"{len(sent) / run.makespan:.0f} a second; makespan {run.makespan:.2f} s; "
        f"estimate {run.plan.estimate.seconds:.2f} s\n"
    )
    met = [
        _line(
            "makespan / the dry-run's bound", run.makespan / bound, MOST_MAKESPAN, f"{bound:.2f} s"
        ),
        _line(
            "ledger and verification / makespan",
            *(waited + judged, MOST_OWN),
            f"ledger {waited:.3f}, verification {judged:.3f}; {beside:.3f} beside others' turns",
        ),
        _line(
            "processor per request / bare httpx",
            *(own / each, MOST_CPU),
            f"{own * 1e6:.0f} us, {each * 1e6:.0f} us",
        ),
    ]
    sys.stdout.write(
        f"{'makespan / 50 ms a request and nothing else':<44}{run.makespan / plain:7.3f}   "
        f"for information: {plain:.2f} s\n"
    )
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
