"""What each device is wanted to be: the playbooks worked out against what was found.

The wanted state of a device is a whole :class:`DeviceState`: what nobody asks for stays as found.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from orchestrator.facility.found import DeviceState, InterfaceState, SourceState
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import Device
from orchestrator.facility.quick import changed, maker
from orchestrator.facility.wanted import AskedDevice, AskedSource, Auto, Unit
from orchestrator.planning.aims.ownership import auto_numbers, blocks_of, numbering_of, own_numbers
from orchestrator.planning.scene import Scene

_source = maker(SourceState)


@dataclass(frozen=True, slots=True)
class Targets:
    """The wanted state of each device found, and what stood in the way of working it out."""

    states: Mapping[str, DeviceState]
    hazards: tuple[Hazard, ...]


def targets(scene: Scene) -> Targets:
    """Work out the wanted state of every device that was found.

    Destinations are not looked at here: what they are to listen to depends on where all sources
    end up, see :mod:`orchestrator.planning.aims.listeners`.
    """
    states = dict(scene.states)
    hazards: list[Hazard] = []
    for name, asked in scene.asked.items():
        state = states.get(name)
        device = scene.plan.devices.get(name)
        if device is None:
            continue
        if state is None:
            hazards.append(_not_found(scene, name))
            continue
        worker = _Worker(scene, device, asked, state)
        states[name] = worker.target()
        hazards.extend(worker.hazards)
    return Targets(states, tuple(hazards))


def _not_found(scene: Scene, name: str) -> Hazard:
    entry = scene.found.devices.get(name)
    why = entry.why if entry is not None and hasattr(entry, "why") else "it was not surveyed"
    return Hazard(
        name=f"unsurveyed:{name}",
        rule="H7",
        grade=Grade.STOPS,
        what=f"{name} is to be changed, but its state is not known: {why}",
        where=(name,),
        fix="get it to answer and survey again, or leave it out of the playbooks",
    )


class _Worker:
    """Works out one device."""

    def __init__(
        self, scene: Scene, device: Device, asked: AskedDevice, state: DeviceState
    ) -> None:
        self.scene = scene
        self.device = device
        self.asked = asked
        self.state = state
        self.hazards: list[Hazard] = []
        self.numbering = numbering_of(scene.plan, device, asked)

    def target(self) -> DeviceState:
        return changed(
            self.state,
            {
                "interfaces": self._interfaces(),
                "sources": self._sources(),
                "settings": self._settings(),
            },
        )

    def _stop(self, name: str, what: str, fix: str, rule: str = "playbook") -> None:
        self.hazards.append(
            Hazard(
                name=name,
                rule=rule,
                grade=Grade.STOPS,
                what=what,
                where=(self.device.name,),
                fix=fix,
            )
        )

    def _interfaces(self) -> Mapping[str, InterfaceState]:
        if not self.asked.exact and not self.asked.addresses:
            return self.state.interfaces
        interfaces = dict(self.state.interfaces)
        for name, (address, prefix, gateway) in self.asked.exact.items():
            interfaces[name] = InterfaceState(address=address, prefix=prefix, gateway=gateway)
        for name, address in self.asked.addresses.items():
            if name in self.asked.exact:
                continue
            own = name if name in interfaces else self._only_interface(name)
            if own is None:
                continue
            if interfaces[own].address == address:
                continue
            network = self.scene.plan.network_of(address)
            prefix = network.subnet.prefixlen if network else interfaces[own].prefix
            gateway = str(network.gateway) if network and network.gateway else None
            interfaces[own] = InterfaceState(address=address, prefix=prefix, gateway=gateway)
        return interfaces

    def _only_interface(self, name: str) -> str | None:
        """The device's one interface, whatever it calls it; else it must be named right."""
        if len(self.state.interfaces) == 1:
            return next(iter(self.state.interfaces))
        has = ", ".join(self.state.interfaces)
        self._stop(
            f"no-interface:{self.device.name}/{name}",
            f"{self.device.name} has no interface {name}; it has {has}",
            "name the interface as the device does",
        )
        return None

    def _sources(self) -> dict[str, SourceState]:
        sources = dict(self.state.sources)
        autos = auto_numbers(self.scene.plan, self.device, self.asked)
        for name, asked in self.asked.sources.items():
            if name not in sources:
                has = ", ".join(list(sources)[:8]) or "none"
                self._stop(
                    f"no-source:{self.device.name}/{name}",
                    f"{self.device.name} has no source {name}; it has {has}",
                    "correct the name in the playbook, or give the plan its slot",
                )
                continue
            sources[name] = self._source(asked, sources[name], autos.get(name))
        if self.asked.unit is not Unit.KNOWN:
            self._leftovers(sources)
        return sources

    def _source(self, asked: AskedSource, now: SourceState, auto: int | None) -> SourceState:
        number, groups = now.number, now.groups
        if isinstance(asked.number, int):
            number = asked.number
        elif asked.number is Auto.UNASSIGNED:
            number, groups = None, tuple(None for _ in groups)
        elif asked.number is Auto.AUTO:
            if auto is None:
                self._stop(
                    f"no-number:{self.device.name}/{asked.name}",
                    f"{self.device.name}/{asked.name}: no vacant number is left in its blocks",
                    "give the device one more block in the plan, or name a number",
                )
            else:
                number = auto
        if number is not None and number != now.number:
            groups = self._groups(number, len(now.groups))
        if asked.groups is not None:
            groups = asked.groups
            number = self._number_by_rule(asked, number, groups)
        if None in groups and groups != now.groups and self._by_rule:
            self._stop(
                f"no-group:{self.device.name}/{asked.name}",
                f"{self.device.name}/{asked.name}: it keeps groups and no numbers, and there is no "
                f"group for {'unassigned' if number is None else f'number {number}'}",
                "ask for a number that has a group, or for groups",
            )
        label = now.label if asked.label is None else asked.label
        enabled = now.enabled if asked.enabled is None else asked.enabled
        return _source(number, groups, label, enabled)

    @property
    def _by_rule(self) -> bool:
        traits = self.scene.traits.get(self.device.name)
        return traits is not None and traits.numbers_by_rule

    def _number_by_rule(
        self, asked: AskedSource, number: int | None, groups: tuple[str, ...]
    ) -> int | None:
        """The number that goes with groups asked for, where the device keeps no numbers itself."""
        if not self._by_rule or self.numbering is None:
            return number
        stands_for = self.numbering.number_of_legs(groups)
        if asked.number is not None and number != stands_for:
            self._stop(
                f"number-group:{self.device.name}/{asked.name}",
                f"{self.device.name}/{asked.name}: it keeps groups and no numbers, and "
                f"{', '.join(groups)} is not the group of number {number} by the plan's rule",
                "ask for the number or for the groups, not for both",
            )
        return stands_for

    def _groups(self, number: int, legs: int) -> tuple[str | None, ...]:
        """The groups of ``number`` by the plan's rule: the same on each leg."""
        if self.numbering is None or not self.numbering.has_group(number):
            return tuple(None for _ in range(legs))
        return (self.numbering.group(number),) * legs

    def _leftovers(self, sources: dict[str, SourceState]) -> None:
        """Switch off what the playbook does not name, and number it into the unit's own block."""
        if self.numbering is None:
            return
        blocks = blocks_of(self.scene.plan, self.device, self.asked)
        own = list(own_numbers(self.numbering, blocks))
        rest = [name for name in sources if name not in self.asked.sources]
        taken = {sources[name].number for name in sources if name in self.asked.sources}
        kept: set[str] = set()
        owned = set(own)
        for name in rest:
            if sources[name].number in owned - taken:
                kept.add(name)
                taken.add(sources[name].number)
        vacant = (number for number in own if number not in taken)
        for name in rest:
            now = sources[name]
            if name in kept or now.number is None:
                sources[name] = changed(now, {"enabled": False})
                continue
            number = next(vacant, None)
            if number is None:
                self._stop(
                    f"no-number:{self.device.name}/{name}",
                    f"{self.device.name}/{name} is left over from before, and no vacant number "
                    "is left for it in the device's blocks",
                    "give the device one more block in the plan, or name the source",
                )
                continue
            groups = self._groups(number, len(now.groups))
            sources[name] = changed(now, {"number": number, "groups": groups, "enabled": False})

    def _settings(self) -> dict[str, bool | int | float | str]:
        settings = dict(self.state.settings)
        for name, value in self.asked.settings.items():
            if name not in settings:
                has = ", ".join(settings) or "none"
                self._stop(
                    f"no-setting:{self.device.name}/{name}",
                    f"{self.device.name} has no setting {name}; it has {has}",
                    "correct the name, or add the setting to the device description",
                )
                continue
            settings[name] = value
        return settings
