"""The terms of a run: what to do after a failure, how long to soak, between which times."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from orchestrator.running.window import Window


class AfterFailure(StrEnum):
    """What a run does when one of its steps has failed for good.

    ``hold-device``: that device waits, with all that depends on it; everything else is finished.
    ``hold-room``: so does its whole room. ``hold-all``: nothing new is begun anywhere.
    ``take-room-back``: the room waits, the rest is finished; then what the run wrote in that room
    is taken back, planned and proved, before the sitting ends.
    """

    HOLD_DEVICE = "hold-device"
    HOLD_ROOM = "hold-room"
    HOLD_ALL = "hold-all"
    TAKE_ROOM_BACK = "take-room-back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """On which terms a run is made; they are approved with it and kept in its record.

    ``soak_s``: how long, in seconds, a phase is watched before its go/no-go point. ``window``:
    the maintenance window, if there is one.
    """

    after_failure: AfterFailure = AfterFailure.HOLD_DEVICE
    soak_s: float = 0.0
    window: Window | None = None


def held(policy: AfterFailure, failed: Iterable[str], rooms: Mapping[str, str]) -> frozenset[str]:
    """The devices on which nothing new is begun, once steps on the devices ``failed`` have failed.

    ``rooms`` gives the room of every device of the run. What a device's own failure holds back
    by its kind comes on top of this.
    """
    stuck = set(failed)
    if not stuck or policy is AfterFailure.HOLD_DEVICE:
        return frozenset()
    if policy is AfterFailure.HOLD_ALL:
        return frozenset(rooms)
    shut = {rooms[device] for device in stuck if device in rooms}
    return frozenset(device for device, room in rooms.items() if room in shut)
