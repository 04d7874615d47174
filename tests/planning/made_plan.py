"""A small plan and playbooks made by hand, for the checks to be held against."""

from collections.abc import Mapping
from dataclasses import replace
from ipaddress import IPv4Address, IPv4Network

from orchestrator.facility.numbering import Numbering, NumberRange
from orchestrator.facility.plan import (
    AddressRange,
    Device,
    Interface,
    ListensTo,
    Network,
    Plan,
    PlannedDestination,
    PlannedSource,
    Ref,
    Room,
)
from orchestrator.facility.wanted import AskedDevice, AskedSource, Auto, Playbook, Release
from orchestrator.planning.check import Finding, findings

RULES = Numbering(
    numbers=NumberRange(1, 2999),
    transit=NumberRange(2990, 2999),
    numbers_per_host=10,
    first_in_block=1,
    group_range=IPv4Network("239.194.0.0/16"),
    port=5004,
)
MEDIA = Network(
    name="media",
    subnet=IPv4Network("127.44.3.0/24"),
    gateway=IPv4Address("127.44.3.254"),
    keep_clear=(AddressRange(IPv4Address("127.44.3.1"), IPv4Address("127.44.3.20")),),
    transit=(AddressRange(IPv4Address("127.44.3.230"), IPv4Address("127.44.3.239")),),
    numbering=RULES,
)
BENCH = Network(name="bench", subnet=IPv4Network("127.0.2.0/24"), bench=True)


def source(name: str, number: int | None = None, *groups: str) -> PlannedSource:
    """A source of the plan."""
    return PlannedSource(name=name, number=number, groups=groups or None)


def device(
    name: str,
    host: int | str | None,
    *sources: PlannedSource,
    network: str = "media",
    room: str = "north",
    blocks: tuple[int, ...] = (),
    numbers: tuple[int, ...] = (),
    speaks: tuple[str, ...] = (),
    serial: str | None = None,
    off_limits: str | None = None,
    hears: Mapping[str, ListensTo | None] | None = None,
) -> Device:
    """A device at 127.44.3.``host``, or at the address given."""
    address = f"127.44.3.{host}" if isinstance(host, int) else host
    return Device(
        name=name,
        room=room,
        interfaces=(Interface("main", network, address),) if address else (),
        speaks=speaks,
        blocks=blocks,
        numbers=numbers,
        serial=serial,
        off_limits=off_limits,
        sources={item.name: item for item in sources},
        destinations={
            key: PlannedDestination(name=key, listens_to=value)
            for key, value in (hears or {}).items()
        },
    )


def plan(
    *devices: Device,
    networks: tuple[Network, ...] = (MEDIA, BENCH),
    on_air: tuple[Ref, ...] = (),
    rooms: tuple[Room, ...] = (Room("north", "point", "media"),),
) -> Plan:
    """A plan with these devices, by default in one room on one network."""
    return Plan(
        facility="Tern Point Radio",
        networks={network.name: network for network in networks},
        rooms={room.name: room for room in rooms},
        devices={item.name: item for item in devices},
        on_air=on_air,
    )


def playbook(
    *devices: AskedDevice, file: str = "playbooks/a.yaml", releases: tuple[Release, ...] = ()
) -> Playbook:
    """A playbook that asks these devices."""
    return Playbook(
        title="A", file=file, devices={item.name: item for item in devices}, releases=releases
    )


def asked(name: str, **more: object) -> AskedDevice:
    """What a playbook asks of a device; ``address`` is that of its interface ``main``."""
    address = more.pop("address", None)
    addresses = {"main": f"127.44.3.{address}"} if address else {}
    base = AskedDevice(name=name, playbook="playbooks/a.yaml", addresses=addresses)
    return replace(base, **more)  # type: ignore[arg-type]  # keywords of AskedDevice, by test


def numbers(**wanted: int | Auto) -> dict[str, AskedSource]:
    """Sources asked for by number; ``_`` in a name stands for ``-``."""
    names = {key.replace("_", "-"): value for key, value in wanted.items()}
    return {name: AskedSource(name=name, number=value) for name, value in names.items()}


def found(some: Plan, *playbooks: Playbook) -> list[Finding]:
    """All findings about a plan and playbooks, without any device description."""
    return list(findings(some, playbooks, {}))


def one(some: Plan, *playbooks: Playbook) -> Finding:
    """The one finding that there has to be."""
    every = found(some, *playbooks)
    assert len(every) == 1, "\n".join(f"{item.what} {item.path}" for item in every)
    return every[0]
