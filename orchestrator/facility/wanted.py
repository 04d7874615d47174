"""What playbooks ask for, before it is worked out against what was found."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from orchestrator.facility.plan import ListensTo
from orchestrator.facility.quick import quick

SettingValue = bool | int | float | str


class Unit(StrEnum):
    """What sort of unit a playbook speaks of."""

    KNOWN = "known"
    FRESH = "fresh"
    REUSED = "reused"


class Auto(StrEnum):
    """A number that is no figure.

    ``auto``: left to the tool, the next vacant one of the device's own blocks. ``unassigned``:
    the source is to hold no number and no group.
    """

    AUTO = "auto"
    UNASSIGNED = "unassigned"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class AskedSource:
    """What a playbook asks of a source; None: it does not say, so nothing changes."""

    name: str
    number: int | Auto | None = None
    groups: tuple[str, ...] | None = None
    label: str | None = None
    enabled: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedDestination:
    """What a playbook asks of a destination; None: it does not say."""

    name: str
    listens_to: ListensTo | None = None


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class AskedDevice:
    """What a playbook asks of a device.

    ``reach_at`` is where it answers until it is readdressed. ``addresses`` maps interface names
    to wanted addresses. ``blocks`` and ``numbers`` are what it owns once it is done; None: as
    the plan says (blocks follow a new address). ``exact`` gives an interface's wanted address,
    prefix length and gateway where these are not to come from the plan's network (a run that is
    taken back). ``avoids`` are numbers, and groups, that ``auto`` gives to nobody. ``playbook`` is
    the file that asks.
    """

    name: str
    playbook: str
    reach_at: str | None = None
    unit: Unit = Unit.KNOWN
    addresses: Mapping[str, str] = field(default_factory=dict)
    exact: Mapping[str, tuple[str, int, str | None]] = field(default_factory=dict)
    blocks: tuple[int, ...] | None = None
    numbers: tuple[int, ...] | None = None
    avoids: frozenset[int | str] = frozenset()
    sources: Mapping[str, AskedSource] = field(default_factory=dict)
    destinations: Mapping[str, AskedDestination] = field(default_factory=dict)
    settings: Mapping[str, SettingValue] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A hazard that a person accepts: its name as the dry-run prints it, the reason, and who."""

    hazard: str
    reason: str
    by: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """Leave to touch something off limits: who gave it, under which reference, until when.

    ``until`` is an ISO 8601 time with an offset.
    """

    what: str
    by: str
    reference: str
    until: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Playbook:
    """One playbook: the wanted settings of some devices, moves included."""

    title: str
    file: str
    devices: Mapping[str, AskedDevice]
    accepts: tuple[Acceptance, ...] = ()
    releases: tuple[Release, ...] = ()
