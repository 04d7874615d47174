"""One death after another: a stretch of events, each tried just before and just after."""

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.kills.trial import Death, Ends, die

MOMENTS = ("before", "after")


@dataclass(frozen=True)
class Job:
    """What is tried: with which playbooks, every how manieth event, and how it has to end."""

    playbooks: tuple[str, ...]
    step: int
    ends: Ends


def stretch(job: Job, numbers: range) -> tuple[int, list[str]]:
    """Die at each event of a stretch: how many deaths there were, and what went wrong."""
    died, wrong = 0, []
    number = numbers.start
    while number in numbers:
        kept = number
        for moment in MOMENTS:
            found = once(number, moment, job.playbooks, job.ends)
            died += found.died
            if found.wrong:
                again = "".join(f" --playbook {name}" for name in job.playbooks)
                what = "; ".join(found.wrong)
                wrong.append(f"python -m tests.kills --only {number}{again}  # {moment}: {what}")
            elif found.died and moment == MOMENTS[1]:
                kept = found.stored  # in one commit with it
        number = max(number + job.step, kept + 1)
    return died, wrong


def once(number: int, moment: str, playbooks: Sequence[str], ends: Ends | None = None) -> Death:
    """One death in a folder of its own; what is raised is a death that went wrong."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            return die(Path(folder), number, moment, *playbooks, ends=ends)
        except Exception as error:  # noqa: BLE001 - told like any other death that went wrong
            return Death(True, 0, (f"raised {type(error).__name__}: {error}",), {})
