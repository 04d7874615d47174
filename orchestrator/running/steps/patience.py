"""How long to wait for a device: bounded counts of growing waits, since a run has no clock."""

from dataclasses import dataclass

_PARTS = (1, 2, 4, 8)
BUSY_WAITS = (1.0, 2.0, 4.0, 8.0)
"""Seconds to wait, time after time, for a device that says it is busy. Our own choice."""

LONGEST_WAIT_S = 60.0
"""A device that asks for more patience than this gets this much at a time. Our own choice."""

CABLE_LOOK_S = 1.0
"""Seconds between two looks for a device whose cable is being moved. Our own choice."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How patient to be with one device, in seconds (its traits of the same names).

    ``late_s``: an accepted write shows in a read-back within this time, and a request whose
    answer was lost lands within it or never. ``settle_s``: after a readdress the device is
    expected at its new address within this time. ``cable_s``: how much longer to look for it
    there where a person has to move its cable first.
    """

    late_s: float = 5.0
    settle_s: float = 10.0
    cable_s: float = 0.0

    def late(self) -> tuple[float, ...]:
        """The waits, in seconds, within which a write must show; they add up to ``late_s``."""
        return growing(self.late_s)

    def settle(self) -> tuple[float, ...]:
        """The waits for a device to come back: ``settle_s``, and as much again for a slow one."""
        return (*growing(self.settle_s), self.settle_s)

    def arrive(self) -> tuple[float, ...]:
        """The waits for a readdressed device: as it settles, and until its cable is moved."""
        return (*self.settle(), *([CABLE_LOOK_S] * int(self.cable_s / CABLE_LOOK_S)))


def growing(seconds: float) -> tuple[float, ...]:
    """Split ``seconds`` into four waits, each twice the one before."""
    return tuple(seconds * part / sum(_PARTS) for part in _PARTS)
