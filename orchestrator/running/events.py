"""What a run stores: its state is the fold of these, so a crash loses nothing.

Each event is a frozen value with a ``kind``, so that a ledger can keep it as JSON.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from orchestrator.running.terms import Terms


class Failure(StrEnum):
    """Why a step failed for good."""

    UNREACHABLE = "unreachable"
    UNTRUSTED = "untrusted"
    REFUSED = "refused"
    REJECTED = "rejected"
    BUSY = "busy"
    BROKEN = "broken"
    WRONG_DEVICE = "wrong_device"
    OTHER_HAND = "other_hand"
    NOT_DONE = "not_done"
    OCCUPIED = "occupied"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Intended:
    """About to be done: stored before the first request of the step's write."""

    step: str
    kind: Literal["intended"] = "intended"


@dataclass(frozen=True, slots=True)
class Sent:
    """The write was accepted by the device (``known``), or its outcome is unknown."""

    step: str
    known: bool
    said: str = ""
    kind: Literal["sent"] = "sent"


@dataclass(frozen=True, slots=True)
class Proved:
    """Read back and as wanted.

    A readdress is proved by the device's yes, or by being found done: its confirm reads it back.
    ``already``: it was so before the run sent anything for this step.
    """

    step: str
    already: bool = False
    kind: Literal["proved"] = "proved"


@dataclass(frozen=True, slots=True)
class Failed:
    """Failed for good: nothing that depends on it starts. ``unsure``: it may have landed.

    The latest event of a step counts: a readdress that was proved is failed after all when its
    confirm finds the device still at its old address.
    """

    step: str
    why: Failure
    said: str
    unsure: bool = False
    kind: Literal["failed"] = "failed"


@dataclass(frozen=True, slots=True)
class Asked:
    """A question of safety was put to a person."""

    question: str
    kind: Literal["asked"] = "asked"


@dataclass(frozen=True, slots=True)
class Answered:
    """A person (or a named acceptance) answered: go, or no-go."""

    question: str
    go: bool
    by: str = ""
    kind: Literal["answered"] = "answered"


@dataclass(frozen=True, slots=True)
class Agreed:
    """From now on the run goes on other terms, which were given when it was resumed."""

    terms: Terms
    kind: Literal["agreed"] = "agreed"


@dataclass(frozen=True, slots=True)
class Checked:
    """Everything was read and audited before ``phase``: what was found, in words, if anything.

    ``soaked_s``: for how many seconds it was watched before.
    """

    phase: int
    findings: tuple[str, ...] = ()
    soaked_s: float = 0.0
    kind: Literal["checked"] = "checked"


@dataclass(frozen=True, slots=True)
class Paused:
    """The run stopped for now, and why."""

    why: str
    kind: Literal["paused"] = "paused"


@dataclass(frozen=True, slots=True)
class Resumed:
    """The run goes on: steps that failed are open again and are read before they are written."""

    kind: Literal["resumed"] = "resumed"


@dataclass(frozen=True, slots=True)
class Finished:
    """Every step is proved."""

    kind: Literal["finished"] = "finished"


Event = (
    Intended
    | Sent
    | Proved
    | Failed
    | Asked
    | Answered
    | Agreed
    | Checked
    | Paused
    | Resumed
    | Finished
)
