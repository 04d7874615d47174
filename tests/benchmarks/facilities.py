"""Facilities by chance, for the benchmarks: bigger than those of the planning tests.

Every device has a pace of its own, and numbers, addresses and listeners cross between devices:
rings, chains, exchanges of addresses, units that join, a few sources on air.
"""

import random
from dataclasses import replace
from ipaddress import IPv4Address

from orchestrator.facility.found import Found
from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import AddressRange, Ref
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Batch, Hears, Saves
from orchestrator.facility.wanted import Release, Unit
from orchestrator.planning.scene import Scene
from tests.planning.scenes import MEDIA, NUMBERING, Box, address, group, scene

BIG = replace(
    MEDIA,
    numbering=replace(NUMBERING, transit=NumberRange(2960, 2999)),
    transit=(AddressRange(IPv4Address("127.44.3.220"), IPv4Address("127.44.3.239")),),
)
PACES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5)


def facility(seed: int, *, devices: int, sources: int, width: int = 16) -> Scene:
    """A facility of at most so many devices and sources, and not many fewer.

    About a third of its devices take several steps in one request.
    """
    rng = random.Random(seed)
    count = rng.randint(max(2, devices * 2 // 3), devices)
    total = rng.randint(max(count, 3 * sources // 4), sources)
    rooms = ["north", "south", "booth"][: rng.randint(1, 3)]
    boxes = {f"d{i}": _box(rng, i, rooms) for i in range(count)}
    numbers = rng.sample(range(301, 2900), 2 * total + 3)
    for index in range(total):
        box = boxes[f"d{index if index < count else rng.randrange(count)}"]
        box.sources[f"s{len(box.sources)}"] = (numbers.pop(), rng.random() < 0.9)
    moved = _renumber(rng, boxes, numbers)
    if rng.random() < 0.6:
        _readdress(rng, boxes)
    if rng.random() < 0.4:
        _join(rng, boxes, numbers)
    _listen(rng, boxes)
    on_air, releases = _on_air(rng, boxes, moved)
    made = scene(boxes, on_air=on_air, releases=releases, media=BIG, width=width)
    return with_batches(paced(rng, made), seed)


def with_batches(made: Scene, seed: int) -> Scene:
    """The scene with some devices that take several steps in one request, by chance."""
    rng = random.Random(f"batches {seed}")
    streams = frozenset({StepKind.DISABLE, StepKind.RENUMBER, StepKind.ENABLE, StepKind.SET})
    both = (Batch(streams, rng.choice((4, 64))), Batch(frozenset({StepKind.REPOINT}), 64))
    traits = {
        name: replace(each, batches=both) if rng.random() < 1 / 3 else each
        for name, each in made.traits.items()
    }
    return replace(made, traits=traits)


def _box(rng: random.Random, index: int, rooms: list[str]) -> Box:
    return Box(
        host=31 + index,
        room=rng.choice(rooms),
        saves=rng.choice([Saves.AT_ONCE, Saves.AT_ONCE, Saves.ON_SAVE]),
        by=rng.choice(list(Hears)),
    )


def _renumber(rng: random.Random, boxes: dict[str, Box], spare: list[int]) -> list[tuple[str, str]]:
    """Let most sources exchange numbers, some go to vacant ones."""
    every = [(name, key) for name, box in boxes.items() for key in box.sources]
    movers = [pair for pair in every if rng.random() < 0.75]
    targets = [boxes[name].sources[key][0] for name, key in movers]
    for place in range(len(targets)):
        if rng.random() < 0.25:
            targets[place] = spare.pop()
    rng.shuffle(targets)
    for (name, key), number in zip(movers, targets, strict=True):
        boxes[name].wants[key] = (number, rng.choice([None, None, None, None, True, False]))
        if rng.random() < 0.3:
            boxes[name].labels[key] = f"{name}-{key}"
    return movers


def _readdress(rng: random.Random, boxes: dict[str, Box]) -> None:
    movers = [name for name in boxes if rng.random() < 0.4]
    hosts = [boxes[name].host for name in movers]
    if hosts and rng.random() < 0.5:
        hosts[0] = 190
    rng.shuffle(hosts)
    for name, host in zip(movers, hosts, strict=True):
        if host != boxes[name].host:
            boxes[name].to = address(host)


def _join(rng: random.Random, boxes: dict[str, Box], spare: list[int]) -> None:
    box = Box(
        host=150,
        at="127.0.2.50",
        to=address(150),
        unit=Unit.FRESH,
        saves=rng.choice(list(Saves)),
        room="north",
    )
    for slot in range(rng.randint(1, 3)):
        box.sources[f"s{slot}"] = (slot + 1, True)
        if spare:
            box.wants[f"s{slot}"] = (spare.pop(), True)
    boxes["joiner"] = box


def _listen(rng: random.Random, boxes: dict[str, Box]) -> None:
    every = [(n, key) for n, box in boxes.items() if box.at is None for key in box.sources]
    for box in boxes.values():
        for slot in range(rng.randint(0, 4)):
            name, key = rng.choice(every)
            number = boxes[name].sources[key][0]
            if box.at is None and number is not None:
                box.hears[f"in{slot}"] = number if box.by is Hears.NUMBER else group(number)


def _on_air(
    rng: random.Random, boxes: dict[str, Box], moved: list[tuple[str, str]]
) -> tuple[tuple[Ref, ...], tuple[Release, ...]]:
    """Now and then one destination on air, and the leave to touch all that this takes."""
    heard = [(name, key) for name, box in boxes.items() for key in box.hears]
    if rng.random() < 0.6 or not heard or not moved:
        return (), ()
    leave = [
        Release(what=name, by="chief engineer", reference="test", until="2099-01-01T00:00:00Z")
        for what, box in boxes.items()
        for name in (what, *[f"{what}/{key}" for key in (*box.sources, *box.hears)])
    ]
    return (Ref(*rng.choice(heard)),), tuple(leave)


def paced(rng: random.Random, made: Scene) -> Scene:
    """The same scene with a pace of its own for each device."""
    devices = {
        name: replace(entry, response_s=rng.choice(PACES)) if isinstance(entry, Found) else entry
        for name, entry in made.found.devices.items()
    }
    return replace(made, found=replace(made.found, devices=devices))


def fifty_rooms(seed: int = 50) -> Scene:
    """Fifty rooms of an engine, a box of outputs and a box of inputs, all renumbered.

    In each room the engine and the outputs exchange or pass on some numbers; now and then with
    the next room. The inputs listen to sources of their own room, some to the next.
    """
    rng = random.Random(seed)
    boxes: dict[str, Box] = {}
    for room in range(50):
        name = f"room-{room:02}"
        for place, (kind, count) in enumerate((("engine", 6), ("outputs", 3), ("inputs", 0))):
            host = 20 + 3 * room + place
            box = Box(host=host, room=name, saves=rng.choice([Saves.AT_ONCE, Saves.ON_SAVE]))
            for slot in range(count):
                box.sources[f"s{slot}"] = (host * 10 + slot, True)
            boxes[f"{name}-{kind}"] = box
    for room in range(50):
        _one_room(rng, boxes, f"room-{room:02}", f"room-{(room + 1) % 50:02}", last=room == 49)
    return paced(rng, scene(boxes, media=BIG))


def _one_room(
    rng: random.Random, boxes: dict[str, Box], here: str, there: str, *, last: bool
) -> None:
    own = [
        (f"{here}-{k}", key) for k in ("engine", "outputs") for key in boxes[f"{here}-{k}"].sources
    ]
    numbers = [boxes[name].sources[key][0] for name, key in own]
    taken = numbers[1:] + numbers[:1]
    if rng.random() < 0.5:
        taken[-1] = boxes[own[-1][0]].host * 10 + 9  # a chain instead of a ring
    for (name, key), number in zip(own, taken, strict=True):
        boxes[name].wants[key] = (number, None)
    for slot in range(6):
        near = here if last or rng.random() < 0.8 else there
        source = boxes[f"{near}-engine"].sources[f"s{slot}"][0]
        boxes[f"{here}-inputs"].hears[f"in{slot}"] = source
