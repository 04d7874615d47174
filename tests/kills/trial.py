"""One death: a run over real sockets is killed at an event, resumed, and judged."""

import signal
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from mocks.state import Memory
from orchestrator.ledger.store import SqliteLedger
from orchestrator.running.events import Event, Finished
from tests.cli.stage import ANSWERS, APPLY, SECRETS, Stage, staged
from tests.kills import mortal

NEVER = 10_000_000
"""An event that no run comes to."""

Ends = Mapping[str, Memory]
"""What every device has in its memory when a run that nobody killed is over."""


@dataclass(frozen=True)
class Death:
    """How one went: the events stored when it died, what was wrong, whether it died at all."""

    died: bool
    stored: int
    wrong: tuple[str, ...]
    ends: Ends


def die(folder: Path, number: int, moment: str, *playbooks: str, ends: Ends | None = None) -> Death:
    """Apply the example's playbooks (all, if none is named), die at an event, and resume.

    The same finish by ``resume`` is asked for each time (where the run's end is on disk already,
    there is nothing to resume): the target reached, every recorded event still recorded, no safety
    rule broken at any instant of both. Whether the target is reached is asked of the devices by a
    dry-run; with ``ends``, all that is in their memories is compared.
    """
    with staged(folder, *playbooks) as stage:
        said = folder / "said"
        command = [*APPLY, *stage.options("apply")]
        status = mortal.run(number, moment, command, SECRETS, said)
        words = said.read_text(encoding="utf-8")[-500:]
        events = _events(stage)
        stored = len(events)
        if status == 0:
            return Death(False, stored, tuple(_judged(stage, ends)), dict(stage.world.memories()))
        if status != -signal.SIGKILL:
            return Death(True, stored, (f"it ended by itself, {status}: {words}",), {})
        wrong = [] if Finished() in events else _resumed(stage)
        if _events(stage)[:stored] != events:
            wrong.append("events that were recorded are gone")
        wrong += _judged(stage, ends)
        return Death(True, stored, tuple(wrong), dict(stage.world.memories()))


def _resumed(stage: Stage) -> list[str]:
    ended = stage.run("resume", *ANSWERS)
    return [] if ended.status == 0 else [f"resume: {ended.status} {ended.said[-500:]}"]


def _events(stage: Stage) -> Sequence[Event]:
    with SqliteLedger(stage.folder, create=False) as ledger:
        return ledger.events(ledger.runs()[-1].id)


def _judged(stage: Stage, ends: Ends | None) -> list[str]:
    wrong = [f"{one.rule}: {one.what}" for one in stage.referee.verdict().broken]
    if ends is None:
        return wrong if stage.target_reached() else [*wrong, "the target is not reached"]
    now = stage.world.memories()
    return [*wrong, *(f"{name} is not as it should be" for name in now if now[name] != ends[name])]
