"""One death: a run over real sockets is killed at an event, resumed, and judged."""

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from orchestrator.ledger.store import SqliteLedger
from tests.cli.stage import ANSWERS, APPLY, SECRETS, Stage, staged
from tests.example import ROOT

PATIENCE_S = 100
SIGKILLED = -9


@dataclass(frozen=True)
class Death:
    """How one went: the events stored when it died, what was wrong, whether it died at all."""

    died: bool
    stored: int
    wrong: tuple[str, ...]


def die(folder: Path, number: int, moment: str, *playbooks: str) -> Death:
    """Apply the example's playbooks (all, if none is named), die at an event, and resume.

    The same finish by ``resume`` is asked for each time: the target reached, every recorded event
    still recorded, no safety rule broken at any instant of both.
    """
    with staged(folder, *playbooks) as stage:
        command = [sys.executable, "-m", "tests.kills.mortal", str(number), moment, *APPLY]
        done = subprocess.run(
            [*command, *stage.options("apply")],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=PATIENCE_S,
            check=False,
            cwd=ROOT,
            env={**os.environ, **SECRETS, "PYTHONPATH": str(ROOT)},
        )
        if done.returncode == 0:
            return Death(died=False, stored=_events(stage), wrong=tuple(_judged(stage)))
        if done.returncode != SIGKILLED:
            return Death(died=True, stored=0, wrong=(f"it ended by itself: {done.stdout[-500:]}",))
        stored = _events(stage)
        ended = stage.run("resume", *ANSWERS)
        wrong = [] if ended.status == 0 else [f"resume: {ended.status} {ended.said[-500:]}"]
        if _events(stage) < stored:
            wrong.append("events that were recorded are gone")
        return Death(died=True, stored=stored, wrong=(*wrong, *_judged(stage)))


def _events(stage: Stage) -> int:
    with SqliteLedger(stage.folder, create=False) as ledger:
        return len(ledger.events(stage.last()))


def _judged(stage: Stage) -> list[str]:
    wrong = [f"{one.rule}: {one.what}" for one in stage.referee.verdict().broken]
    return wrong if stage.target_reached() else [*wrong, "the target is not reached"]
