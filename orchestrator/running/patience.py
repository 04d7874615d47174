"""How long to wait for a device: bounded counts of growing waits, since a run has no clock."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Patience:
    """How patient to be with one device, in seconds (its traits of the same names).

    ``late_s``: an accepted write shows in a read-back within this time, and a request whose
    answer was lost lands within it or never. ``settle_s``: after a readdress it is expected at
    its new address within this time.
    """

    late_s: float = 5.0
    settle_s: float = 10.0
