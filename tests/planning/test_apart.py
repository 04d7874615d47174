from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import replace

import pytest

from orchestrator.adapters.open import traits_of
from orchestrator.documents.as_found import read_as_found
from orchestrator.documents.folder import load_checked
from orchestrator.facility.found import AsFound, NotFound
from orchestrator.facility.plan import Device, Interface, ListensTo, Ref
from orchestrator.facility.wanted import AskedDestination
from orchestrator.planning import dry_run as planner
from orchestrator.planning.apart import apart
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.scene import Scene, merge
from tests.benchmarks.broadcaster import NETWORKS, Broadcaster
from tests.planning.ordering.test_batches import POINTERS, STREAMS, taking
from tests.planning.scenes import random_boxes, scene

ONE, OTHER = "room-1001-unit-01", "room-2001-unit-01"
"""Two devices on two networks."""


@pytest.fixture(scope="module")
def broadcaster(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    """A made-up facility of five networks with one room each, that share no device."""
    folder = tmp_path_factory.mktemp("broadcaster") / "facility"
    Broadcaster(100).write(folder)
    documents = load_checked(folder)
    plan, asked = documents.plan, merge(documents.playbooks)
    return Scene(
        plan=plan,
        found=read_as_found(folder / "as-found.json"),
        asked=asked,
        traits={
            name: traits_of(each, documents.descriptions) for name, each in plan.devices.items()
        },
        rooms=frozenset(plan.rooms),
    )


def _names(*each: Iterable[str]) -> list[str]:
    return sorted(name for one in each for name in one)


def _with(where: Scene, device: Device) -> Scene:
    devices = {**where.plan.devices, device.name: device}
    return replace(where, plan=replace(where.plan, devices=devices))


def _one_room(where: Scene) -> Scene:
    room = where.plan.devices[OTHER].room
    return _with(where, replace(where.plan.devices[ONE], room=room))


def _two_legs(where: Scene) -> Scene:
    device, other = where.plan.devices[ONE], where.plan.devices[OTHER]
    network = other.interfaces[0].network
    leg = Interface(name="second", network=network, address="127.65.40.1")
    return _with(where, replace(device, interfaces=(*device.interfaces, leg)))


def _asked_to_hear(where: Scene) -> Scene:
    wish = AskedDestination(name="in-1", listens_to=ListensTo(source=Ref(OTHER, "out-1")))
    asked = replace(where.asked[ONE], destinations={"in-1": wish})
    return replace(where, asked={**where.asked, ONE: asked})


def _goes_there(where: Scene) -> Scene:
    asked = replace(where.asked[ONE], addresses={"main": "127.65.40.1"})
    return replace(where, asked={**where.asked, ONE: asked})


def _planned_to_hear(where: Scene) -> Scene:
    device = where.plan.devices[ONE]
    heard = ListensTo(source=Ref(OTHER, "out-1"))
    planned = {"in-1": replace(device.destinations["in-1"], listens_to=heard)}
    return _with(where, replace(device, destinations=planned))


def _absent_listener(where: Scene) -> Scene:
    at = where.plan.devices[ONE].address
    gone = NotFound(at=at, why="it did not answer", kind="Unreachable")
    found: AsFound = replace(where.found, devices={**where.found.devices, ONE: gone})
    return replace(_planned_to_hear(where), found=found)


def _on_air_listener(where: Scene) -> Scene:
    where = _planned_to_hear(where)
    return replace(where, plan=replace(where.plan, on_air=(Ref(ONE, "in-1"),)))


def test_networks_without_a_common_device_are_parts(broadcaster: Scene) -> None:
    """Every device is in one part, with what is asked of it and what was found."""
    parts = apart(broadcaster, many=1)
    assert len(parts) == NETWORKS
    assert _names(*[part.plan.devices for part in parts]) == sorted(broadcaster.plan.devices)
    assert _names(*[part.found.devices for part in parts]) == sorted(broadcaster.found.devices)
    assert _names(*[part.asked for part in parts]) == sorted(broadcaster.asked)
    assert [part.plan.on_air for part in parts] == [broadcaster.plan.on_air, (), (), (), ()]
    for part in parts:
        assert len({device.room for device in part.plan.devices.values()}) == 1


@pytest.mark.parametrize(
    "tied",
    [_one_room, _two_legs, _asked_to_hear, _goes_there, _absent_listener, _on_air_listener],
)
def test_what_ties_two_networks_together(
    broadcaster: Scene, tied: Callable[[Scene], Scene]
) -> None:
    """A room, a leg on each, a wish to hear one there, a readdress; by the plan, away or on air."""
    parts = apart(tied(broadcaster), many=1)
    assert len(parts) == NETWORKS - 1
    assert any({ONE, OTHER} <= part.plan.devices.keys() for part in parts)


def test_a_facility_stays_whole_where_more_than_networks_ties_it(broadcaster: Scene) -> None:
    """An order of rooms, a save that all wait for, a device that the plan has not; or too few."""
    rooms = tuple((room,) for room in broadcaster.plan.rooms)
    unknown = {**broadcaster.found.devices, "stranger": broadcaster.found.devices[ONE]}
    for whole in (
        replace(broadcaster, phases=rooms),
        replace(broadcaster, save_first=frozenset({ONE})),
        replace(broadcaster, found=replace(broadcaster.found, devices=unknown)),
    ):
        assert apart(whole, many=1) == [whole]
    assert apart(broadcaster) == [broadcaster]
    assert len(apart(scene(random_boxes(1)), many=1)) == 1, "one network"


def test_planned_apart_it_is_the_same_change(
    broadcaster: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same steps in the same phases under one numbering, proved as a whole."""
    whole = dry_run(broadcaster)
    monkeypatch.setattr(planner, "apart", lambda where: apart(where, many=1))
    parts = dry_run(broadcaster)
    assert parts.proved
    assert whole.proved
    assert parts.changes == whole.changes
    assert parts.hazards == whole.hazards
    assert parts.sequence.phases == whole.sequence.phases
    assert len(parts.lent) == len(whole.lent) > 0
    assert [step.id for step in parts.sequence.steps] == [
        f"s{number}" for number in range(1, 1 + len(whole.sequence.steps))
    ]
    assert [step.order for step in parts.sequence.steps] == list(
        range(1, 1 + len(whole.sequence.steps))
    )
    kinds = [
        Counter(
            (step.phase, step.kind, step.subject, str(step.wanted)) for step in one.sequence.steps
        )
        for one in (parts, whole)
    ]
    assert kinds[0] == kinds[1]
    assert sorted(map(str, parts.listeners)) == sorted(map(str, whole.listeners))
    assert [(one.on_air, one.seconds) for one in parts.silence] == sorted(
        ((one.on_air, one.seconds) for one in parts.silence), reverse=True
    )
    assert 0.8 * whole.estimate.seconds < parts.estimate.seconds < 1.25 * whole.estimate.seconds
    assert parts.estimate.bound_seconds <= parts.estimate.seconds


def test_one_part_that_can_not_be_planned_stops_all(
    broadcaster: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A number that a bystander holds: no step of any part is given, all changes are told."""
    monkeypatch.setattr(planner, "apart", lambda where: apart(where, many=1))
    mover = next(name for name, asked in broadcaster.asked.items() if asked.sources)
    others = {name: one for name, one in broadcaster.asked.items() if name != mover}
    planned = dry_run(replace(broadcaster, asked=others))
    assert planned.stopped
    assert planned.sequence.steps == ()
    assert {change.device for change in planned.changes} >= others.keys()


def test_requests_of_two_parts_have_no_number_in_common(
    broadcaster: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where devices take several steps in one request, those of each part are numbered on."""
    monkeypatch.setattr(planner, "apart", lambda where: apart(where, many=1))
    planned = dry_run(taking(broadcaster, STREAMS, POINTERS))
    assert planned.proved
    devices: dict[int, set[str]] = {}
    for step in planned.sequence.steps:
        if step.batch:
            devices.setdefault(step.batch, set()).add(step.device)
    rooms = {where.split("-unit-")[0] for each in devices.values() for where in each}
    assert len(rooms) > 1, "of more than one part"
    assert all(len(each) == 1 for each in devices.values())
    assert sorted(devices) == list(range(1, 1 + len(devices)))
