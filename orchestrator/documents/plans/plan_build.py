"""The plan's values, made of its model: types filled in, ranges expanded."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from ipaddress import IPv4Address
from typing import TypeVar

from orchestrator.documents.plans.members import Member, Members, Ports
from orchestrator.documents.plans.plan_model import (
    CommonModel,
    DestinationModel,
    DeviceModel,
    NetworkModel,
    NumberingModel,
    PlanModel,
    RestconfModel,
    SourceModel,
    TypeModel,
)
from orchestrator.documents.plans.time_zones import is_zone, zone_fix
from orchestrator.documents.reading.shape import nearest
from orchestrator.documents.reading.tree import Fault, Path
from orchestrator.documents.tls_model import build_tls, tls_faults
from orchestrator.facility.numbering import Numbering
from orchestrator.facility.plan import (
    Device,
    Interface,
    Network,
    Plan,
    PlannedDestination,
    PlannedSource,
    Reach,
    Room,
)
from orchestrator.facility.trust import joined

DEFAULT_PORT = 5004  # IS-05's default for RTP; also what AES67 gear commonly uses
T = TypeVar("T")
V = TypeVar("V", PlannedSource, PlannedDestination)


def build_plan(model: PlanModel) -> tuple[Plan, tuple[Fault, ...]]:
    """The plan, and what is wrong inside it that its model can't see."""
    builder = _Builder(model)
    plan = builder.plan()
    return plan, tuple(builder.faults)


def ports_of(interfaces: Iterable[Interface], networks: Mapping[str, Network]) -> Ports:
    """The port of each leg: that of the networks, in the interfaces' order, that carry audio."""
    found = (networks.get(interface.network) for interface in interfaces)
    ports = tuple(net.numbering.port for net in found if net is not None and net.numbering)
    return ports or (DEFAULT_PORT,)


@dataclass(frozen=True, slots=True)
class _Parts:
    """The sources and destinations of a device or a type, each member by its name."""

    sources: Mapping[str, PlannedSource]
    destinations: Mapping[str, PlannedDestination]

    def over(self, common: "_Parts") -> "_Parts":
        """These laid over ``common``: key by key, and in each the own values before the other's."""
        sources = dict(common.sources)
        for name, own in self.sources.items():
            sources[name] = _over(own, sources[name]) if name in sources else own
        destinations = dict(common.destinations)
        for name, mine in self.destinations.items():
            destinations[name] = _over(mine, destinations[name]) if name in destinations else mine
        return _Parts(sources, destinations)


def _over(own: V, common: V) -> V:
    """``own``, and what it does not say from ``common``."""
    given = {item.name: getattr(own, item.name) for item in fields(own)}
    return replace(
        common, **{key: value for key, value in given.items() if value not in (None, ())}
    )


class _Builder:
    def __init__(self, model: PlanModel) -> None:
        self.model = model
        self._of_types: dict[tuple[str, Ports], _Parts] = {}
        self.members = Members()
        self.faults = self.members.faults
        self.networks: dict[str, Network] = {}

    def plan(self) -> Plan:
        self.networks = {
            name: self._network(name, network) for name, network in self.model.networks.items()
        }
        rooms = {
            name: Room(name, room.site, room.network) for name, room in self.model.rooms.items()
        }
        for name, kind in self.model.types.items():
            self._type_parts(name, (DEFAULT_PORT,))
            self.faults.extend(tls_faults(kind.tls, ("types", name, "tls")))
        self.faults.extend(tls_faults(self.model.tls, ("tls",)))
        return Plan(
            facility=self.model.facility,
            networks=self.networks,
            rooms=rooms,
            devices={
                name: self._device(name, device) for name, device in self.model.devices.items()
            },
            on_air=tuple(self.model.on_air),
            time_zone=self._time_zone(),
            tls=build_tls(self.model.tls),
        )

    def _time_zone(self) -> str | None:
        name = self.model.time_zone
        if name is not None and not is_zone(name):
            what = f"there is no time zone '{name}'"
            self.faults.append(Fault(("time_zone",), what, zone_fix(name)))
        return name

    def _network(self, name: str, model: NetworkModel) -> Network:
        return Network(
            name=name,
            subnet=model.subnet,
            gateway=None if model.gateway is None else IPv4Address(model.gateway),
            keep_clear=tuple(model.keep_clear),
            transit=tuple(model.transit),
            numbering=self._numbering(name, model),
            bench=model.bench,
        )

    def _numbering(self, name: str, model: NetworkModel) -> Numbering | None:
        rules = _rules(model)
        if isinstance(rules, str):
            rules = self._shared(name, rules)
        if not isinstance(rules, NumberingModel):
            return None
        return Numbering(
            numbers=rules.numbers,
            numbers_per_host=rules.numbers_per_host,
            first_in_block=rules.first_in_block,
            group_range=rules.group_range,
            port=rules.port,
            transit=rules.transit,
        )

    def _shared(self, name: str, other: str) -> object:
        """The rules of the network ``other``, which has to have its own."""
        path: Path = ("networks", name, "numbering")
        having = [
            key
            for key, network in self.model.networks.items()
            if isinstance(_rules(network), NumberingModel)
        ]
        if other not in self.model.networks:
            self.faults.append(
                Fault(path, f"there is no network '{other}'", nearest(other, having))
            )
            return None
        rules = _rules(self.model.networks[other])
        if not isinstance(rules, NumberingModel):
            what = f"network '{other}' has no numbering of its own"
            self.faults.append(
                Fault(path, what, "name a network that has, or write the rules here")
            )
        return rules

    def _device(self, name: str, model: DeviceModel) -> Device:
        path: Path = ("devices", name)
        kind = self._type(model, path)
        network = model.network or (kind.network if kind else None)
        interfaces = self._interfaces(model, network, path)
        ports = ports_of(interfaces, self.networks)
        parts = self._parts(model, path, ports)
        self.faults.extend(tls_faults(model.tls, (*path, "tls")))
        if kind is not None:
            parts = parts.over(self._type_parts(str(model.type), ports))
        having: tuple[CommonModel, ...] = (model,) if kind is None else (model, kind)
        return Device(
            name=name,
            room=model.room,
            interfaces=interfaces,
            speaks=tuple(_first(item.speaks for item in having) or ()),
            blocks=tuple(_first(item.blocks for item in having) or ()),
            numbers=tuple(_first(item.numbers for item in having) or ()),
            serial=model.serial,
            credentials=_first(item.credentials for item in having),
            off_limits=_first(item.off_limits for item in having),
            port=_first(item.port for item in having),
            scheme=_first(item.scheme for item in having) or "http",
            tls=joined(*(build_tls(item.tls) for item in having)),
            restconf=_reach(_first(item.restconf for item in having)),
            sources=parts.sources,
            destinations=parts.destinations,
        )

    def _type(self, model: DeviceModel, path: Path) -> TypeModel | None:
        if model.type is None or model.type in self.model.types:
            return self.model.types.get(model.type or "")
        fix = nearest(model.type, self.model.types)
        self.faults.append(Fault((*path, "type"), f"there is no type '{model.type}'", fix))
        return None

    def _interfaces(
        self, model: DeviceModel, network: str | None, path: Path
    ) -> tuple[Interface, ...]:
        room = self.model.rooms.get(model.room)
        usual = network or (room.network if room else "")
        if model.interfaces is not None:
            if model.address is not None:
                what = "both 'address' and 'interfaces' stand here"
                self.faults.append(Fault((*path, "address"), what, "keep one of the two"))
            return tuple(
                Interface(name, item.network or usual, item.address, item.slot)
                for name, item in model.interfaces.items()
            )
        if model.address is not None:
            return (Interface("main", usual, model.address),)
        return ()

    def _type_parts(self, name: str, ports: Ports) -> _Parts:
        """A type's sources and destinations for devices whose legs have ``ports``."""
        if (name, ports) not in self._of_types:
            parts = self._parts(self.model.types[name], ("types", name), ports)
            self._of_types[name, ports] = parts
        return self._of_types[name, ports]

    def _parts(self, model: CommonModel, path: Path, ports: Ports) -> _Parts:
        sources = self.members.each(model.sources, (*path, "sources"))
        destinations = self.members.each(model.destinations, (*path, "destinations"))
        return _Parts(
            {member.name: self._source(member, ports) for member in sources},
            {member.name: self._destination(member, ports) for member in destinations},
        )

    def _source(self, member: Member[SourceModel], ports: Ports) -> PlannedSource:
        model, make = member.entry, self.members
        return PlannedSource(
            name=member.name,
            slot=make.text(model.slot, member, "slot"),
            number=make.number(model.number, member),
            groups=make.groups(model.groups, ports, member),
            label=make.text(model.label, member, "label"),
            enabled=model.enabled,
            also_heard_by=tuple(model.also_heard_by),
        )

    def _destination(self, member: Member[DestinationModel], ports: Ports) -> PlannedDestination:
        return PlannedDestination(
            name=member.name,
            slot=self.members.text(member.entry.slot, member, "slot"),
            listens_to=self.members.hearing(member.entry.listens_to, ports[0], member),
        )


def _rules(network: NetworkModel) -> object:
    """A network's numbering rules, the name of the network that it shares them with, or None."""
    return network.numbering


def _reach(model: RestconfModel | None) -> Reach:
    return Reach() if model is None else Reach(scheme=model.scheme, port=model.port)


def _first(values: Iterable[T | None]) -> T | None:
    """The first that is given: a device's own before its type's."""
    return next((value for value in values if value is not None), None)
