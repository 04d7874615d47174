"""What the world tells its observers and keeps in its log: changes, and requests as they came.

No secret is ever in it: headers are left out, and a device's secret is blanked in path and body.
"""

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any, Protocol

from mocks.state import Memory

BLANK = "***"


class Cause(StrEnum):
    """Why a device's memory changed."""

    REQUEST = "request"
    REBOOT = "reboot"
    ANOTHER_HAND = "another hand"  # a person or program other than the one being watched
    EDIT = "edit"  # the test is building its world


@dataclass(frozen=True, slots=True)
class Change:
    """A device's memory before and after one instant, and why; ``at`` in the world's seconds."""

    at: float
    device: str
    cause: Cause
    before: Memory
    after: Memory


@dataclass(frozen=True, slots=True)
class Asked:
    """One request that came to a device.

    ``outcome`` is the status that was answered, or a word ("refused", "closed without an answer");
    ``faults`` names what was made to go wrong.
    """

    at: float
    device: str
    address: str
    method: str
    path: str
    body: str
    outcome: str
    faults: tuple[str, ...] = ()

    @property
    def writes(self) -> bool:
        """Whether it asked for a change."""
        return self.method not in {"GET", "HEAD", "OPTIONS"}

    def as_dict(self) -> dict[str, Any]:
        """The entry as a plain dict, to be written to a file."""
        return asdict(self)


class Observer(Protocol):
    """Somebody whom the world tells what happens, at once, in the order in which it happens."""

    def changed(self, change: Change) -> None:
        """A device's memory changed."""

    def asked(self, asked: Asked) -> None:
        """A request reached a device (or was lost on the way to it)."""

    def moved(self) -> None:
        """Who answers where may have changed, or something is newly on the agenda."""


def without(secret: str, text: str) -> str:
    """``text`` with a secret blanked."""
    return text.replace(secret, BLANK) if secret else text
