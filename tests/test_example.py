"""The example facility against the simulated world that it describes.

The world file is read by the simulation's own code and the plan by the tool's, which share
nothing, so a mistake in one of them shows here.
"""

from ipaddress import IPv4Network

import pytest

from mocks.holdings import heard
from mocks.world import World
from orchestrator.documents.folder import Documents
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.wanted import Unit
from tests.example import (
    FACILITY,
    FRESH,
    MISKEYED,
    ON_THE_BENCH,
    REUSED,
    WORLD,
    asked,
    example,
    files,
    own,
    running,
    slot,
)

KINDS = {"plan.yaml": "plan", "playbooks": "playbook", "devices": "device"}


@pytest.fixture
def documents() -> Documents:
    """The example's documents."""
    return example()


@pytest.fixture
def world() -> World:
    """The simulated world, to look at or to edit."""
    return World.load(WORLD)


def test_names(documents: Documents, world: World) -> None:
    """The plan and the world have the same devices."""
    assert set(documents.plan.devices) == set(world.names)


def test_identities(documents: Documents, world: World) -> None:
    """Each serial in the plan is that of the unit, and its description fits make and firmware."""
    for name, device in documents.plan.devices.items():
        unit = world.machine(name).unit
        assert device.serial in (unit.serial, None), name
        for way in device.speaks:
            description = documents.descriptions[way]
            assert description.make.lower() == world.machine(name).make
            assert unit.model in description.traits.models
            assert any(unit.firmware.startswith(f"{v}.") for v in description.traits.tried_with)


def test_every_spoken_to_device_has_a_serial(documents: Documents) -> None:
    """No device is written to on its address alone."""
    assert all(d.serial for d in documents.plan.devices.values() if d.speaks)


def test_addresses(documents: Documents, world: World) -> None:
    """Each device stands where the plan has it; the two on the bench where playbooks reach them."""
    reach_at = {one.name: one.reach_at for one in asked(documents) if one.reach_at}
    assert reach_at == {FRESH: "127.0.2.50", REUSED: "127.0.2.60"}
    for name, device in documents.plan.devices.items():
        lan = running(world, name).lan
        assert lan.address == reach_at.get(name, device.address), name
        network = documents.plan.network_of(lan.address)
        assert network is not None
        assert lan.prefix == network.subnet.prefixlen
        assert lan.gateway == (str(network.gateway) if network.gateway else None)


def test_the_bench_units_are_wanted_where_the_plan_reserves_their_place(
    documents: Documents,
) -> None:
    """The coming address of a unit on the bench is in the plan already, and nothing else is."""
    for one in asked(documents):
        if one.unit is not Unit.KNOWN:
            device = documents.plan.devices[one.name]
            assert one.addresses == {"main": device.address}
            assert device.sources == {}
            assert device.destinations == {}


def test_sources(documents: Documents, world: World) -> None:
    """Numbers, labels and switches in the plan are the units' own, but for the one miskeyed."""
    for name, device in documents.plan.devices.items():
        if name in ON_THE_BENCH:
            continue
        found = dict(running(world, name).sources)
        for planned in device.sources.values():
            source = found.pop(own(device, planned.name))
            assert (source.label, source.enabled) == (planned.label, planned.enabled), planned
            if Ref(name, planned.name) == MISKEYED:
                assert (source.number, planned.number) == (418, 428)
            else:
                assert source.number == planned.number, planned
        assert not found, f"{name} has sources that the plan does not name: {found}"


def test_groups(documents: Documents, world: World) -> None:
    """Every group in the world is the one that the plan's numbering gives its number."""
    numbering = documents.plan.networks["media"].numbering
    assert numbering is not None
    for name in world.names:
        for source in running(world, name).sources.values():
            assert source.group == (numbering.group(source.number) if source.number else "")


def test_destinations(documents: Documents, world: World) -> None:
    """Each destination is pointed at the source that the plan says it listens to."""
    plan = documents.plan
    for name, device in plan.devices.items():
        if name in ON_THE_BENCH:
            continue
        found = dict(running(world, name).destinations)
        for planned in device.destinations.values():
            pointed = found.pop(own(device, planned.name))
            assert planned.listens_to is not None
            source = planned.listens_to.source
            if source is None:
                assert planned.listens_to == ListensTo()
                assert (pointed.number, pointed.group) == (0, "")
                continue
            target = plan.devices[source.device]
            held_there = running(world, source.device).sources[own(target, source.name)]
            assert pointed.group == held_there.group, f"{name}/{planned.name}"
        assert not found, f"{name} has destinations that the plan does not name: {found}"


def test_networks(documents: Documents, world: World) -> None:
    """Subnets, benches and what is set aside as transit agree; all of it is loopback."""
    plan = documents.plan
    assert {n.name for n in world.site.networks} == set(plan.networks)
    for there in world.site.networks:
        here = plan.networks[there.name]
        assert (here.subnet, here.bench) == (there.subnet, there.bench)
        assert here.subnet.subnet_of(IPv4Network("127.0.0.0/8"))
        assert [(int(a.first), int(a.last)) for a in here.transit] == [
            (span.first, span.last) for span in there.transit_addresses
        ]
        numbers = here.numbering.transit if here.numbering else None
        lent = [(numbers.first, numbers.last)] if numbers else []
        assert lent == [(span.first, span.last) for span in there.transit_numbers]


def test_what_may_not_be_touched(documents: Documents, world: World) -> None:
    """What is off limits or on air is so in both, and no playbook speaks of it."""
    plan, site = documents.plan, world.site
    off_limits = {name for name, device in plan.devices.items() if device.off_limits}
    assert off_limits == site.off_limits == {"alert-inserter"}
    assert plan.devices["alert-inserter"].numbers == (611, 612)
    assert plan.on_air == (Ref("transmitter-feed", "output-1"),)
    assert site.on_air == {"transmitter-feed/1"}
    feeding = heard(site, world.memories())["transmitter-feed/1"]
    assert feeding == {"master-control/program-1"}
    named = {one.name for one in asked(documents)}
    assert not named & {"alert-inserter", "transmitter-feed", "master-control"}


def test_what_is_meant_to_be_heard(documents: Documents, world: World) -> None:
    """The world allows each destination what its playbook asks for, and nothing more."""
    wanted = {
        f"{one.name}/{slot(name)}": {
            f"{source.device}/{own(documents.plan.devices[source.device], source.name)}"
        }
        for one in asked(documents)
        for name, destination in one.destinations.items()
        if destination.listens_to and (source := destination.listens_to.source)
    }
    assert {at: set(sources) for at, sources in world.site.meant.items()} == wanted


def test_secrets_are_invented(world: World) -> None:
    """Every secret says that it is made up, and none stands in a document that people keep."""
    secrets = {world.machine(name).unit.secret for name in world.names}
    assert all(secret.startswith("invented-") for secret in secrets)
    kept = "".join(path.read_text() for path in files())
    assert not any(secret in kept for secret in secrets)


def test_one_secret_behind_each_credential(documents: Documents, world: World) -> None:
    """All units that share a credential's name take the same secret, so one entry is enough."""
    behind: dict[str, set[tuple[str, str]]] = {}
    for name, device in documents.plan.devices.items():
        if device.credentials:
            unit = world.machine(name).unit
            behind.setdefault(device.credentials, set()).add((unit.user, unit.secret))
    assert set(behind) == {"corvid-units", "tamarisk-units"}
    assert all(len(secrets) == 1 for secrets in behind.values())


def test_editors_find_the_schemas() -> None:
    """Each document's first line points at its kind of schema, all in one folder."""
    assert len(files()) == 1 + 5 + 2
    for path in files():
        kind = KINDS.get(path.name) or KINDS[path.parent.name]
        first = path.read_text().splitlines()[0]
        key, _, where = first.partition("=")
        assert key == "# yaml-language-server: $schema", path
        assert (path.parent / where).resolve() == FACILITY / ".schemas" / f"{kind}.json"


def test_lines_fit() -> None:
    """The example is read on screens that show two files side by side."""
    for path in (*files(), WORLD):
        assert max(map(len, path.read_text().splitlines())) <= 100, path
