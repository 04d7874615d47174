"""Everything that planning looks at, in one value."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from orchestrator.facility.found import AsFound, DeviceState, Found
from orchestrator.facility.plan import Plan, Ref
from orchestrator.facility.traits import Saves, Traits
from orchestrator.facility.wanted import AskedDevice, Playbook, Release
from orchestrator.planning.index import Index


@dataclass(frozen=True, kw_only=True)
class Scene:
    """The facility as planned, as found, and what is asked of it.

    ``asked`` holds only devices of the chosen ``rooms``. ``phases`` is the user's order of rooms
    (each entry the rooms that go together); empty: the tool chooses. ``releases`` are those that
    have not expired. ``accepted`` maps hazard names to reasons. ``save_first`` names devices that
    may boot with something else than they run on (a run was stopped before their save): nobody
    knows what that holds, so they are saved before anything is taken.
    """

    plan: Plan
    found: AsFound
    asked: Mapping[str, AskedDevice]
    traits: Mapping[str, Traits]
    rooms: frozenset[str]
    phases: tuple[tuple[str, ...], ...] = ()
    releases: tuple[Release, ...] = ()
    accepted: Mapping[str, str] = field(default_factory=dict)
    width: int = 16
    save_first: frozenset[str] = frozenset()

    @cached_property
    def unsaved(self) -> frozenset[str]:
        """Devices of the facility that run on what they would not boot with, as they say.

        What they would boot with was not read. A run that was stopped knows of its own
        (``save_first``); one on a bench holds nothing that is anybody's.
        """
        return frozenset(
            name
            for name, state in self.states.items()
            if state.unsaved
            and name not in self.save_first
            and self.traits[name].saves is Saves.ON_SAVE
            and any(self.networks_now[name])
        )

    @cached_property
    def states(self) -> Mapping[str, DeviceState]:
        """The state of every device that was found."""
        return {
            name: entry.state
            for name, entry in self.found.devices.items()
            if isinstance(entry, Found)
        }

    @cached_property
    def networks_now(self) -> Mapping[str, tuple[str | None, ...]]:
        """For each device found, the facility network of each interface (None: a bench)."""
        return {name: self.networks_of(state) for name, state in self.states.items()}

    @cached_property
    def sources_now(self) -> Index:
        """Which sources hold each number and group, as found."""
        return Index.of(self.states, self.networks_now)

    @cached_property
    def _network_by_address(self) -> dict[str, str | None]:
        return {}

    def network_at(self, address: str) -> str | None:
        """The facility network that holds ``address``; None for a bench or an unknown one."""
        known = self._network_by_address
        if address not in known:
            network = self.plan.network_of(address)
            known[address] = network.name if network and not network.bench else None
        return known[address]

    def networks_of(self, state: DeviceState) -> tuple[str | None, ...]:
        """The facility network of each interface of ``state``, in order."""
        return tuple([self.network_at(entry.address) for entry in state.interfaces.values()])

    def room_of(self, device: str) -> str:
        """The room of ``device``."""
        return self.plan.devices[device].room

    def released(self, device: str, name: str | None = None) -> bool:
        """Whether a release names ``device`` or ``device/name``."""
        wanted = {device} if name is None else {device, str(Ref(device, name))}
        return any(release.what in wanted for release in self.releases)


def merge(playbooks: tuple[Playbook, ...]) -> dict[str, AskedDevice]:
    """Join what several playbooks ask of one device; they never name the same thing twice."""
    merged: dict[str, AskedDevice] = {}
    for playbook in playbooks:
        for name, asked in playbook.devices.items():
            merged[name] = _join(merged[name], asked) if name in merged else asked
    return merged


def _join(one: AskedDevice, other: AskedDevice) -> AskedDevice:
    return AskedDevice(
        name=one.name,
        playbook=one.playbook,
        reach_at=one.reach_at or other.reach_at,
        unit=one.unit if one.unit != "known" else other.unit,
        addresses={**one.addresses, **other.addresses},
        exact={**one.exact, **other.exact},
        blocks=one.blocks if one.blocks is not None else other.blocks,
        numbers=one.numbers if one.numbers is not None else other.numbers,
        sources={**one.sources, **other.sources},
        destinations={**one.destinations, **other.destinations},
        settings={**one.settings, **other.settings},
    )
