"""Scenes for the planning tests: a small facility by hand, and random ones by seed."""

import random
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from ipaddress import IPv4Address, IPv4Network

from orchestrator.facility.found import (
    AsFound,
    DestinationState,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    NotFound,
    SourceState,
)
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
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Effect, Hears, Saves, Traits
from orchestrator.facility.wanted import (
    AskedDestination,
    AskedDevice,
    AskedSource,
    Auto,
    Release,
    Unit,
)
from orchestrator.planning.scene import Scene

NUMBERING = Numbering(
    numbers=NumberRange(1, 2999),
    numbers_per_host=10,
    first_in_block=1,
    group_range=IPv4Network("239.194.0.0/16"),
    port=5004,
    transit=NumberRange(2990, 2993),
)
MEDIA = Network(
    name="media",
    subnet=IPv4Network("127.44.3.0/24"),
    gateway=IPv4Address("127.44.3.254"),
    transit=(AddressRange(IPv4Address("127.44.3.230"), IPv4Address("127.44.3.231")),),
    numbering=NUMBERING,
)
BENCH = Network(name="bench", subnet=IPv4Network("127.0.2.0/24"), bench=True)


def red_and_blue() -> tuple[Network, Network]:
    """The two media networks of a redundant plant (SMPTE ST 2022-7), alike but for the subnet."""
    red = replace(MEDIA, name="red", gateway=None)
    spare = AddressRange(IPv4Address("127.45.3.230"), IPv4Address("127.45.3.231"))
    blue = replace(red, name="blue", subnet=IPv4Network("127.45.3.0/24"), transit=(spare,))
    return red, blue


def group(number: int) -> str:
    """The group of a number by the test plan's rule."""
    return NUMBERING.group(number)


@dataclass
class Box:
    """A device as a test writes it down. Sources: name -> (number, enabled)."""

    host: int
    sources: dict[str, tuple[int | None, bool]] = field(default_factory=dict)
    hears: dict[str, int | str | None] = field(default_factory=dict)
    room: str = "north"
    saves: Saves = Saves.AT_ONCE
    by: Hears = Hears.NUMBER
    at: str | None = None
    unit: Unit = Unit.KNOWN
    wants: dict[str, tuple[int | Auto | None, bool | None]] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)
    listens: dict[str, ListensTo] = field(default_factory=dict)
    to: str | None = None
    settings: dict[str, int] = field(default_factory=dict)
    set_to: dict[str, int] = field(default_factory=dict)
    off_limits: str | None = None
    absent: bool = False
    asked: bool = True
    exact: dict[str, tuple[str, int, str | None]] = field(default_factory=dict)
    planned: dict[str, PlannedSource] = field(default_factory=dict)
    planned_hears: dict[str, ListensTo] = field(default_factory=dict)
    numbers: tuple[int, ...] = ()
    blocks: tuple[int, ...] | None = None
    effects: dict[str, Effect] = field(default_factory=dict)
    can: frozenset[StepKind] = frozenset(StepKind)
    tried_with: tuple[str, ...] = ()
    holds_sender: bool = False
    asks_source: bool = False
    serial: str | None = "as found"


def address(host: int) -> str:
    """The media address of a host part."""
    return f"127.44.3.{host}"


def scene(
    boxes: Mapping[str, Box],
    *,
    rooms: frozenset[str] | None = None,
    on_air: tuple[Ref, ...] = (),
    accepted: Mapping[str, str] | None = None,
    releases: tuple[Release, ...] = (),
    phases: tuple[tuple[str, ...], ...] = (),
    media: Network = MEDIA,
    width: int = 16,
    response_s: float = 0.05,
) -> Scene:
    """Make the scene of ``boxes``."""
    every_room = sorted({box.room for box in boxes.values()})
    plan = Plan(
        facility="Test",
        networks={"media": media, "bench": BENCH},
        rooms={name: Room(name, "point", "media") for name in every_room},
        devices={name: _device(name, box) for name, box in boxes.items()},
        on_air=on_air,
    )
    found = AsFound(
        facility="Test",
        taken_at="2026-01-01T00:00:00+00:00",
        devices={name: _found(name, box, response_s) for name, box in boxes.items()},
    )
    return Scene(
        plan=plan,
        found=found,
        asked={n: a for n, box in boxes.items() if (a := _asked(n, box)) is not None},
        traits={name: _traits(box) for name, box in boxes.items()},
        rooms=frozenset(every_room) if rooms is None else rooms,
        accepted=accepted or {},
        releases=releases,
        phases=phases,
        width=width,
    )


def _device(name: str, box: Box) -> Device:
    home = box.to if box.at is not None and box.to else address(box.host)
    return Device(
        name=name,
        room=box.room,
        interfaces=(Interface("main", "media", home),),
        speaks=("test",),
        blocks=(box.host,) if box.blocks is None else box.blocks,
        numbers=box.numbers,
        serial=f"SN-{name}" if box.serial == "as found" else box.serial,
        off_limits=box.off_limits,
        sources=box.planned,
        destinations={
            key: PlannedDestination(name=key, listens_to=value)
            for key, value in box.planned_hears.items()
        },
    )


def _found(name: str, box: Box, response_s: float) -> Found | NotFound:
    at = box.at or address(box.host)
    if box.absent:
        return NotFound(at=at, why="nothing answered", kind="Unreachable")
    gateway = None if box.at is not None else "127.44.3.254"
    return Found(
        at=at,
        response_s=response_s,
        state=DeviceState(
            identity=Identity(serial=f"SN-{name}", model="T-1"),
            interfaces={"main": InterfaceState(address=at, prefix=24, gateway=gateway)},
            sources={
                key: SourceState(
                    number=number,
                    groups=(None if number is None else group(number),),
                    label="",
                    enabled=enabled,
                )
                for key, (number, enabled) in box.sources.items()
            },
            destinations={key: DestinationState(hears=value) for key, value in box.hears.items()},
            settings=dict(box.settings),
        ),
    )


def _asked(name: str, box: Box) -> AskedDevice | None:
    says = box.wants, box.labels, box.listens, box.to, box.set_to, box.exact
    if not box.asked or not (any(says) or box.unit is not Unit.KNOWN):
        return None
    names = [*box.wants, *[key for key in box.labels if key not in box.wants]]
    return AskedDevice(
        name=name,
        playbook="test.yaml",
        reach_at=box.at,
        unit=box.unit,
        addresses={"main": box.to} if box.to else {},
        exact=box.exact,
        sources={
            key: AskedSource(
                name=key,
                number=box.wants.get(key, (None, None))[0],
                enabled=box.wants.get(key, (None, None))[1],
                label=box.labels.get(key),
            )
            for key in names
        },
        destinations={
            key: AskedDestination(name=key, listens_to=value) for key, value in box.listens.items()
        },
        settings=dict(box.set_to),
    )


def _traits(box: Box) -> Traits:
    return Traits(
        can=box.can,
        saves=box.saves,
        hears=box.by,
        settle_s=1.0,
        holds_sender_address=box.holds_sender,
        asks_source=box.asks_source,
        effects=box.effects,
        tried_with=box.tried_with,
    )


def random_boxes(seed: int) -> dict[str, Box]:
    """A random facility: chains, rings, exchanges, joins, faults, listeners.

    Every source holds a number of its own but for a seeded few duplicates; a random part of the
    sources exchange numbers, a random part of the devices exchange addresses.
    """
    rng = random.Random(seed)
    count = rng.randint(1, 4)
    boxes: dict[str, Box] = {}
    numbers = list(range(301, 320))
    rng.shuffle(numbers)
    for index in range(count):
        box = Box(
            host=31 + index,
            room=rng.choice(["north", "south", "booth"]),
            saves=rng.choice(list(Saves)),
            by=rng.choice(list(Hears)),
        )
        for slot in range(rng.randint(1, 3)):
            box.sources[f"s{slot}"] = (numbers.pop(), rng.random() < 0.8)
        boxes[f"d{index}"] = box
    _random_moves(rng, boxes, numbers)
    _random_addresses(rng, boxes)
    _random_join(rng, boxes, numbers)
    _random_listeners(rng, boxes)
    return boxes


def _random_moves(rng: random.Random, boxes: dict[str, Box], spare: list[int]) -> None:
    everything = [(name, key) for name, box in boxes.items() for key in box.sources]
    movers = [pair for pair in everything if rng.random() < 0.7]
    targets = [boxes[name].sources[key][0] for name, key in movers]
    for position in range(len(targets)):
        if rng.random() < 0.3 and spare:
            targets[position] = spare.pop()
    rng.shuffle(targets)
    for (name, key), number in zip(movers, targets, strict=True):
        on = rng.choice([None, None, None, True, False])
        boxes[name].wants[key] = (number, on)
    if len(everything) > 1 and rng.random() < 0.15:
        (one, a), (other, b) = rng.sample(everything, 2)
        if b in boxes[other].wants:
            boxes[other].sources[b] = (boxes[one].sources[a][0], boxes[other].sources[b][1])


def _random_addresses(rng: random.Random, boxes: dict[str, Box]) -> None:
    if rng.random() < 0.5:
        return
    movers = [name for name in boxes if rng.random() < 0.7]
    hosts = [boxes[name].host for name in movers]
    if rng.random() < 0.4 and hosts:
        hosts[0] = 90
    rng.shuffle(hosts)
    for name, host in zip(movers, hosts, strict=True):
        if host != boxes[name].host:
            boxes[name].to = address(host)


def _random_join(rng: random.Random, boxes: dict[str, Box], spare: list[int]) -> None:
    if rng.random() < 0.6:
        return
    box = Box(
        host=50,
        at="127.0.2.50",
        to=address(50),
        unit=rng.choice([Unit.FRESH, Unit.REUSED]),
        saves=rng.choice(list(Saves)),
        by=rng.choice(list(Hears)),
        room=rng.choice(["north", "south"]),
    )
    for slot in range(rng.randint(1, 3)):
        box.sources[f"s{slot}"] = (rng.choice([1, 2, 3, 301, 302, 303]), rng.random() < 0.7)
    if rng.random() < 0.6 and spare:
        box.wants["s0"] = (spare.pop(), True)
    box.hears["in"] = rng.choice([None, 301, 305, 310])
    if box.by is Hears.GROUP and isinstance(box.hears["in"], int):
        box.hears["in"] = group(box.hears["in"])
    boxes["joiner"] = box


def _random_listeners(rng: random.Random, boxes: dict[str, Box]) -> None:
    everything = [
        (name, key) for name, box in boxes.items() for key in box.sources if box.at is None
    ]
    for box in list(boxes.values()):
        if box.at is not None:
            continue
        for slot in range(rng.randint(0, 2)):
            name, key = rng.choice(everything)
            number = boxes[name].sources[key][0]
            if number is None:
                continue
            box.hears[f"in{slot}"] = number if box.by is Hears.NUMBER else group(number)
            if rng.random() < 0.25:
                box.listens[f"in{slot}"] = ListensTo(source=Ref(*rng.choice(everything)))


def rich_boxes(seed: int) -> dict[str, Box]:
    """A random facility with more in it than :func:`random_boxes`.

    Units that leave for the bench, joins onto addresses that are left, labels, settings that
    interrupt, listeners by number, devices that hold the sender's address, devices that are gone,
    numbers taken away.
    """
    boxes = random_boxes(seed)
    rng = random.Random(seed * 7919 + 1)
    for box in list(boxes.values()):
        _random_extras(rng, boxes, box)
    if rng.random() < 0.4:
        _random_leave(rng, boxes)
    if rng.random() < 0.2:
        source = PlannedSource(name="x", number=701, groups=(group(701),))
        boxes["gone"] = Box(host=70, absent=True, planned={"x": source}, numbers=(702,))
    return boxes


def _random_extras(rng: random.Random, boxes: dict[str, Box], box: Box) -> None:
    for key in box.sources:
        if rng.random() < 0.2:
            box.labels[key] = "New"
        if rng.random() < 0.05:
            box.wants[key] = (Auto.UNASSIGNED, False)
        elif box.at is None and rng.random() < 0.05:
            box.wants[key] = (Auto.AUTO, None)
    if rng.random() < 0.3:
        box.settings["domain"] = 0
        box.set_to["domain"] = 1
        box.effects["domain"] = rng.choice([Effect.NONE, Effect.INTERRUPTS, Effect.REBOOTS])
    box.holds_sender = rng.random() < 0.2
    box.asks_source = box.holds_sender and rng.random() < 0.5
    sources = [(other, key) for other, far in boxes.items() for key in far.sources]
    for key in box.hears:
        if rng.random() < 0.15:
            box.listens[key] = ListensTo(number=rng.choice([301, 305, 310, 315]))
        elif rng.random() < 0.1:
            box.listens[key] = ListensTo(source=Ref(*rng.choice(sources)))
        elif rng.random() < 0.05:
            box.listens[key] = ListensTo()


def _random_leave(rng: random.Random, boxes: dict[str, Box]) -> None:
    """One device goes to the bench and gets other numbers there; another may take its place."""
    standing = [name for name, box in boxes.items() if box.at is None and not box.absent]
    if not standing:
        return
    name = rng.choice(standing)
    box = boxes[name]
    box.to = None
    box.exact = {"main": ("127.0.2.60", 24, None)}
    for key, (number, _) in box.sources.items():
        if rng.random() < 0.7:
            box.wants[key] = (rng.choice([1, 2, 3, 301, 302, 305]), rng.choice([True, False, None]))
        else:
            box.wants[key] = (number, None)
    joiner = boxes.get("joiner")
    if joiner is not None and rng.random() < 0.6:
        joiner.to = address(box.host)
        joiner.host = box.host
    for other in standing:
        if other != name and boxes[other].to is None and rng.random() < 0.2:
            boxes[other].to = address(box.host)
            break
