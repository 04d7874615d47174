"""What the devices say of themselves: the survey's values."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from orchestrator.facility.quick import quick
from orchestrator.facility.wanted import SettingValue


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Who a device says it is."""

    serial: str
    model: str
    firmware: str = ""

    def __str__(self) -> str:
        return f"{self.model} serial {self.serial}"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class InterfaceState:
    """One interface as found; ``prefix`` in bits, ``gateway`` None if there is none."""

    address: str
    prefix: int
    gateway: str | None = None


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class SourceState:
    """One source as found. ``number`` None means unassigned; ``groups`` has one entry a leg."""

    number: int | None
    groups: tuple[str | None, ...]
    label: str
    enabled: bool


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class DestinationState:
    """One destination as found: it hears a number (int), a group (text), or nothing (None)."""

    hears: int | str | None
    label: str = ""


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceState:
    """A device's whole present state, sources and destinations by their names in the plan.

    A slot that the plan does not name stands under the device's own name for it. ``unsaved``
    is True where the device says that it runs on something that it would not boot with; None
    where it can't say.
    """

    identity: Identity
    interfaces: Mapping[str, InterfaceState]
    sources: Mapping[str, SourceState] = field(default_factory=dict)
    destinations: Mapping[str, DestinationState] = field(default_factory=dict)
    settings: Mapping[str, SettingValue] = field(default_factory=dict)
    unsaved: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A device that answered: where, what it said, and how long a request took it (seconds)."""

    at: str
    state: DeviceState
    response_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFound:
    """A device that could not be surveyed. No answer is not vacant.

    ``why`` is a sentence; ``kind`` the error's class name (``Unreachable``, ``WrongDevice`` ...).
    """

    at: str
    why: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AsFound:
    """A survey: every device of the plan that the tool speaks to, found or not.

    ``taken_at`` is an ISO 8601 time with an offset.
    """

    facility: str
    taken_at: str
    devices: Mapping[str, Found | NotFound]

    def state(self, device: str) -> DeviceState | None:
        """The state of ``device``, or None if it was not found."""
        entry = self.devices.get(device)
        return entry.state if isinstance(entry, Found) else None
