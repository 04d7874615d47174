"""A whole broadcaster, made up by seed: its documents and its survey, in a folder.

Per 10,000 devices: 200,000 sources, 50,000 destinations, 500 rooms, 5 networks. A quarter of the
sources move: in 2,000 rings of 2 to 5, and the rest in chains that end on a vacant number. One in
eight rings and chains reaches into the next room; listeners are anywhere on the network.
"""

import random
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from orchestrator.documents.as_found import write_as_found
from orchestrator.facility.found import (
    AsFound,
    DestinationState,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    SourceState,
)

NETWORKS = 5
TO_A_ROOM = 20
SOURCES = 20
DESTINATIONS = 5
TO_A_HOST = 24
FIRST_HOST = 10
MOST_HOSTS = 2_700  # 24 numbers each, below the transit numbers
MAKES = {"corvid-engine": ("CE-4", "4.1.2"), "tamarisk-node": ("TN-8", "2.7.3")}
EXAMPLE = Path(__file__).parents[2] / "playbooks" / "devices"

Place = tuple[int, int]
"""A source: the device, and its place on the device, both from 0."""


@dataclass
class Unit:
    """One device: where it stands, and what is on it."""

    index: int
    network: int
    host: int
    make: str
    enabled: list[bool]
    hears: list[Place]
    wants: dict[int, int] = field(default_factory=dict)

    @property
    def room(self) -> str:
        """Its room: neighbours on one network share it."""
        return f"room-{self.network + 1}{(self.host - FIRST_HOST) // TO_A_ROOM + 1:03}"

    @property
    def name(self) -> str:
        """Its name."""
        return f"{self.room}-unit-{(self.host - FIRST_HOST) % TO_A_ROOM + 1:02}"

    @property
    def address(self) -> str:
        """Its address: the host part in the network's /16."""
        return f"127.{64 + self.network}.{self.host >> 8}.{self.host & 255}"

    def number(self, place: int) -> int:
        """The number of its source ``place`` as it is."""
        return self.host * TO_A_HOST + 1 + place

    def owns(self, number: int) -> bool:
        """Whether ``number`` is of its own block."""
        return number // TO_A_HOST == self.host


class Broadcaster:
    """The facility, and what is to move in it."""

    def __init__(self, devices: int, seed: int = 1) -> None:
        """Make it up; ``devices`` is a multiple of 100, and 13,500 at most.

        Raises:
            ValueError: another number of devices.
        """
        if devices % (NETWORKS * TO_A_ROOM) or not 0 < devices // NETWORKS <= MOST_HOSTS:
            raise ValueError("the devices are a multiple of 100, 13,500 at most")
        self.rng = random.Random(seed)
        self.each = devices // NETWORKS
        self.units = [self._unit(index) for index in range(devices)]
        self.rings = devices // 5
        for network in range(NETWORKS):
            self._moves(network)

    def _unit(self, index: int) -> Unit:
        network, at = divmod(index, self.each)
        return Unit(
            index=index,
            network=network,
            host=FIRST_HOST + at,
            make=self.rng.choice(list(MAKES)),
            enabled=[self.rng.random() < 0.8 for _ in range(SOURCES)],
            hears=[
                (network * self.each + self.rng.randrange(self.each), self.rng.randrange(SOURCES))
                for _ in range(DESTINATIONS)
            ],
        )

    def _moves(self, network: int) -> None:
        """A quarter of the network's sources, room by room, cut into rings and chains."""
        everyone = [
            (index, place)
            for index in range(network * self.each, (network + 1) * self.each)
            for place in range(SOURCES)
        ]
        movers = self.rng.sample(everyone, len(everyone) // 4)
        reach = TO_A_ROOM * (1 + 1 / 8)
        movers.sort(key=lambda one: one[0] // TO_A_ROOM * TO_A_ROOM + self.rng.random() * reach)
        rings = [self.rng.randint(2, 5) for _ in range(self.rings // NETWORKS)]
        chains: list[int] = []
        while sum(chains) < len(movers) - sum(rings):
            chains.append(self.rng.randint(1, 8))
        chains[-1] -= sum(rings) + sum(chains) - len(movers)
        cuts = [(size, True) for size in rings] + [(size, False) for size in chains]
        self.rng.shuffle(cuts)
        vacant = {index: list(range(SOURCES, TO_A_HOST - 1)) for index, _ in everyone}
        start = 0
        for size, ring in cuts:
            self._move(movers[start : start + size], vacant, ring=ring)
            start += size

    def _move(self, line: list[Place], vacant: dict[int, list[int]], *, ring: bool) -> None:
        """Each takes the number of the next; the last the first's, or a vacant one."""
        for (index, place), (other, there) in pairwise(line):
            self.units[index].wants[place] = self.units[other].number(there)
        index, place = line[-1]
        if ring:
            self.units[index].wants[place] = self.units[line[0][0]].number(line[0][1])
            return
        room = index // TO_A_ROOM * TO_A_ROOM
        owner = next(
            owner for owner in (index, *range(room, room + TO_A_ROOM), *vacant) if vacant[owner]
        )
        self.units[index].wants[place] = self.units[owner].number(vacant[owner].pop())

    def write(self, folder: Path) -> None:
        """Write the documents, and the survey as ``as-found.json``."""
        (folder / "playbooks").mkdir(parents=True)
        (folder / "devices").mkdir()
        for make in MAKES:
            shutil.copy(EXAMPLE / f"{make}.yaml", folder / "devices")
        (folder / "plan.yaml").write_text("\n".join(self._plan()) + "\n")
        by_room: dict[str, list[Unit]] = {}
        for unit in self.units:
            by_room.setdefault(unit.room, []).append(unit)
        for room, units in by_room.items():
            lines = [f"playbook: New numbers in {room}", "devices:"]
            lines += [line for unit in units if unit.wants for line in _asked(unit)]
            (folder / "playbooks" / f"{room}.yaml").write_text("\n".join(lines) + "\n")
        write_as_found(folder / "as-found.json", self._as_found())

    def _plan(self) -> Iterator[str]:
        yield "facility: Tern Point Radio"
        yield "networks:"
        for network in range(NETWORKS):
            yield f"  media-{network + 1}:"
            yield f"    subnet: 127.{64 + network}.0.0/16"
            yield f"    gateway: 127.{64 + network}.255.254"
            yield f"    keep_clear: [127.{64 + network}.0.1-127.{64 + network}.0.9]"
            yield f"    transit: 127.{64 + network}.255.1-127.{64 + network}.255.40"
            yield "    numbering:"
            yield f"      numbers_per_host: {TO_A_HOST}"
            yield "      range: 1-65535"
            yield "      transit: 65500-65535"
            yield "      group_range: 239.192.0.0/16"
        yield "rooms:"
        for room, network in {unit.room: unit.network for unit in self.units}.items():
            yield f"  {room}: {{site: point, network: media-{network + 1}}}"
        yield f"on_air: [{self.units[0].name}/in-1]"
        yield "devices:"
        for unit in self.units:
            yield from self._planned(unit)

    def _planned(self, unit: Unit) -> Iterator[str]:
        yield f"  {unit.name}:"
        yield f"    room: {unit.room}"
        yield f"    speaks: {unit.make}"
        yield f"    address: {unit.address}"
        yield f"    serial: SN-{unit.index:06}"
        yield "    sources:"
        for place in range(SOURCES):
            label = f"{unit.name}-{place + 1:02}".upper()
            yield f"      out-{place + 1}: {{number: {unit.number(place)}, label: {label}}}"
        yield "    destinations:"
        for place, (other, there) in enumerate(unit.hears):
            source = f"{self.units[other].name}/out-{there + 1}"
            yield f"      in-{place + 1}: {{listens_to: {source}}}"

    def _as_found(self) -> AsFound:
        return AsFound(
            facility="Tern Point Radio",
            taken_at="2026-03-01T02:00:00+00:00",
            devices={
                unit.name: Found(at=unit.address, state=self._state(unit), response_s=0.05)
                for unit in self.units
            },
        )

    def _state(self, unit: Unit) -> DeviceState:
        model, firmware = MAKES[unit.make]
        return DeviceState(
            identity=Identity(serial=f"SN-{unit.index:06}", model=model, firmware=firmware),
            interfaces={
                "main": InterfaceState(
                    address=unit.address, prefix=16, gateway=f"127.{64 + unit.network}.255.254"
                )
            },
            sources={
                f"out-{place + 1}": SourceState(
                    number=unit.number(place),
                    groups=(_group(unit.number(place)),),
                    label=f"{unit.name}-{place + 1:02}".upper(),
                    enabled=enabled,
                )
                for place, enabled in enumerate(unit.enabled)
            },
            destinations={
                f"in-{place + 1}": DestinationState(hears=self._pointer(unit, heard))
                for place, heard in enumerate(unit.hears)
            },
            settings={"ptp_domain": 0, "ptp_priority": 128},
            unsaved=False,
        )

    def _pointer(self, unit: Unit, heard: Place) -> int | str:
        number = self.units[heard[0]].number(heard[1])
        return number if unit.make == "corvid-engine" else _group(number)


def _group(number: int) -> str:
    return f"239.192.{number >> 8}.{number & 255}:5004"


def _asked(unit: Unit) -> Iterator[str]:
    yield f"  {unit.name}:"
    foreign = sorted(number for number in unit.wants.values() if not unit.owns(number))
    if foreign:
        yield f"    numbers: [{', '.join(map(str, foreign))}]"
    yield "    sources:"
    for place, number in sorted(unit.wants.items()):
        yield f"      out-{place + 1}: {{number: {number}}}"
