"""Sources on two networks at once, whose groups are, and are not, tied to their numbers."""

import random

import pytest

from orchestrator.facility.found import (
    AsFound,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.plan import Device, Interface, Plan, Ref, Room
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves, Traits
from orchestrator.facility.wanted import AskedDevice, AskedSource
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.scene import Scene
from tests.planning.scenes import BENCH, MEDIA, NUMBERING, group, red_and_blue

Figures = tuple[int, int, int]
"""A source's number, and the numbers whose groups it streams to on either leg."""


def _sources(rng: random.Random, devices: int) -> dict[Ref, tuple[Figures, bool]]:
    pools = [rng.sample(range(301, 330), 12) for _ in range(3)]
    refs = [Ref(f"d{i}", f"s{k}") for i in range(devices) for k in range(rng.randint(1, 3))]
    return {
        ref: ((pools[0].pop(), pools[1].pop(), pools[2].pop()), rng.random() < 0.8) for ref in refs
    }


def _targets(rng: random.Random, sources: dict[Ref, tuple[Figures, bool]]) -> dict[Ref, Figures]:
    """Who gets what: numbers always move, a leg's groups sometimes apart from them."""
    movers = [ref for ref in sources if rng.random() < 0.8]
    lines = list(zip(*(sources[ref][0] for ref in movers), strict=True)) or [(), (), ()]
    numbers, red, blue = (list(line) for line in lines)
    rng.shuffle(numbers)
    for leg in (red, blue):
        if rng.random() < 0.6:
            rng.shuffle(leg)
    return dict(zip(movers, zip(numbers, red, blue, strict=True), strict=True))


def two_legs(seed: int) -> Scene:
    """A random facility with two legs; half of the time the devices exchange addresses too."""
    rng = random.Random(seed)
    names = [f"d{i}" for i in range(rng.randint(2, 4))]
    sources = _sources(rng, len(names))
    targets = _targets(rng, sources)
    hosts = list(range(31, 31 + len(names)))
    moved = rng.sample(hosts, len(hosts)) if rng.random() < 0.5 else hosts
    red, blue = red_and_blue()
    plan = Plan(
        facility="Test",
        networks={"red": red, "blue": blue, "bench": BENCH},
        rooms={room: Room(room, "point", "red") for room in ("north", "south")},
        devices={
            name: Device(
                name=name,
                room=rng.choice(["north", "south"]),
                interfaces=(
                    Interface("red", "red", f"127.44.3.{host}"),
                    Interface("blue", "blue", f"127.45.3.{host}"),
                ),
                speaks=("test",),
                serial=f"SN-{name}",
            )
            for name, host in zip(names, hosts, strict=True)
        },
    )
    return Scene(
        plan=plan,
        found=AsFound(
            facility="Test",
            taken_at="2026-01-01T00:00:00+00:00",
            devices={
                name: _found(name, host, sources) for name, host in zip(names, hosts, strict=True)
            },
        ),
        asked={name: _asked(name, host, targets) for name, host in zip(names, moved, strict=True)},
        traits={
            name: Traits(can=frozenset(StepKind), saves=rng.choice(list(Saves)), legs=2)
            for name in names
        },
        rooms=frozenset({"north", "south"}),
    )


def _found(name: str, host: int, sources: dict[Ref, tuple[Figures, bool]]) -> Found:
    return Found(
        at=f"127.44.3.{host}",
        response_s=0.05,
        state=DeviceState(
            identity=Identity(serial=f"SN-{name}", model="T-2"),
            interfaces={
                "red": InterfaceState(address=f"127.44.3.{host}", prefix=24),
                "blue": InterfaceState(address=f"127.45.3.{host}", prefix=24),
            },
            sources={
                ref.name: SourceState(
                    number=figures[0],
                    groups=(group(figures[1]), group(figures[2])),
                    label="",
                    enabled=enabled,
                )
                for ref, (figures, enabled) in sources.items()
                if ref.device == name
            },
        ),
    )


def _asked(name: str, host: int, targets: dict[Ref, Figures]) -> AskedDevice:
    return AskedDevice(
        name=name,
        playbook="test.yaml",
        addresses={"red": f"127.44.3.{host}", "blue": f"127.45.3.{host}"},
        sources={
            ref.name: AskedSource(name=ref.name, number=number, groups=(group(red), group(blue)))
            for ref, (number, red, blue) in targets.items()
            if ref.device == name
        },
    )


@pytest.mark.parametrize("first", range(0, 400, 100))
def test_two_legs_are_planned_and_proved(first: int) -> None:
    """Numbers, either leg's groups and addresses in rings of any shape: proved, never refused."""
    for seed in range(first, first + 100):
        plan = dry_run(two_legs(seed))
        assert [hazard.what for hazard in plan.hazards if hazard.blocks] == []
        assert plan.proved


def test_each_leg_has_its_own_readdress() -> None:
    """Two interfaces that move give two readdresses, each confirmed before the other starts."""
    for seed in range(60):
        plan = dry_run(two_legs(seed))
        by_device: dict[str, list[StepKind]] = {}
        for step in plan.sequence.steps:
            if step.kind in {StepKind.READDRESS, StepKind.CONFIRM}:
                by_device.setdefault(step.device, []).append(step.kind)
        for kinds in by_device.values():
            assert kinds == [StepKind.READDRESS, StepKind.CONFIRM] * (len(kinds) // 2)
            assert len(kinds) >= 4


def test_the_two_networks_are_alike_but_for_their_subnets() -> None:
    """Both legs share one numbering, so that both may carry the same groups."""
    red, blue = red_and_blue()
    assert red.numbering == blue.numbering == NUMBERING
    assert red.subnet == MEDIA.subnet != blue.subnet
