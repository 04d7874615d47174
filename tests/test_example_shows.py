"""What the example facility is to show is there: each case that the tool has to get right.

The dry-run at the end asks the simulated devices in memory; nothing is written to them.
"""

import asyncio
from collections import Counter
from dataclasses import replace
from ipaddress import IPv4Address

import pytest

from mocks.holdings import heard, held, shared
from mocks.in_memory import InMemory
from mocks.state import Destination
from mocks.world import World
from orchestrator.actions.desk import WallClock
from orchestrator.actions.survey import survey
from orchestrator.adapters.open import make_opener, traits_of
from orchestrator.documents.folder import Documents
from orchestrator.facility.plan import Ref
from orchestrator.facility.secret import Secret
from orchestrator.facility.wanted import Unit
from orchestrator.planning.audit import audit
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.scene import Scene, merge
from tests.example import (
    FRESH,
    MISKEYED,
    ON_THE_BENCH,
    REUSED,
    WORLD,
    asked,
    example,
    followers,
    renumbered,
    running,
    slot,
)


@pytest.fixture
def documents() -> Documents:
    """The example's documents."""
    return example()


@pytest.fixture
def world() -> World:
    """The simulated world, to look at or to edit."""
    return World.load(WORLD)


def test_counts(documents: Documents, world: World) -> None:
    """Five rooms, thirteen devices of two makes, eighty sources."""
    assert set(documents.plan.rooms) == {device.room for device in documents.plan.devices.values()}
    assert len(documents.plan.rooms) == 5
    assert len(world.names) == 13
    assert Counter(world.machine(name).make for name in world.names) == {
        "corvid": 5,
        "tamarisk": 8,
    }
    assert sum(len(running(world, name).sources) for name in world.names) == 80


def test_the_fresh_unit(documents: Documents, world: World) -> None:
    """Sixteen factory numbers, all sending, unlabelled; more than the nine of one block."""
    sources = running(world, FRESH).sources
    assert [source.number for source in sources.values()] == list(range(1, 17))
    assert all(source.enabled and not source.label for source in sources.values())
    numbering = documents.plan.networks["media"].numbering
    assert numbering is not None
    assert documents.plan.devices[FRESH].blocks == (31, 32)
    assert len(numbering.usable(31)) < len(sources)


def test_the_reused_unit(documents: Documents, world: World) -> None:
    """It has numbers of a former life, one of them live elsewhere; harmless on the bench."""
    assert documents.plan.devices[REUSED].serial == world.machine(REUSED).unit.serial
    old = {source.number for source in running(world, REUSED).sources.values()}
    live = {
        source.number
        for name in world.names
        if name not in ON_THE_BENCH
        for source in running(world, name).sources.values()
    }
    assert old & live == {411}
    enabled = {source.enabled for source in running(world, REUSED).sources.values()}
    assert enabled == {True, False}
    named = {s for one in asked(documents) if one.name == REUSED for s in one.sources}
    assert {slot(name) for name in named} < set(running(world, REUSED).sources)
    double = {thing.value for thing in shared(held(world.site, world.memories()))}
    assert "411" not in double


def test_a_swap_across_two_rooms(documents: Documents) -> None:
    """Two sources exchange numbers, each with listeners in its own room and in others."""
    moves = renumbered(documents)
    south = Ref("studio-south-engine", "program-1")
    booth = Ref("news-booth-engine", "program-1")
    assert (moves[south], moves[booth]) == ((102, 104), (104, 102))
    rooms = {name: device.room for name, device in documents.plan.devices.items()}
    for source in (south, booth):
        listening = {rooms[ref.device] for ref in followers(documents, source)}
        assert listening - {rooms[source.device]}, source
        assert len(listening) >= 2, source
    kinds = {documents.plan.devices[ref.device].speaks for ref in followers(documents, south)}
    assert kinds == {("corvid-engine",), ("tamarisk-node",)}  # by number, and by group


def test_the_numbers_that_move_are_in_nobodys_block(documents: Documents) -> None:
    """The shared programme numbers lie in blocks of hosts that are kept clear."""
    media = documents.plan.networks["media"]
    assert media.numbering is not None
    first = int(media.subnet.network_address)
    for number in range(101, 121):
        host = IPv4Address(first + number // media.numbering.numbers_per_host)
        assert any(host in span for span in media.keep_clear)


def test_a_chain_of_three(documents: Documents) -> None:
    """111 to 112 to 113 to 114, which is vacant: three devices, three rooms, each with listeners.

    No member of it can go before the one ahead of it has left.
    """
    moves = renumbered(documents)
    chain = [ref for ref, (old, _) in sorted(moves.items(), key=lambda m: m[1][0] or 0) if old]
    chain = [ref for ref in chain if moves[ref][0] in (111, 112, 113)]
    assert [moves[ref] for ref in chain] == [(111, 112), (112, 113), (113, 114)]
    assert len({documents.plan.devices[ref.device].room for ref in chain}) == 3
    assert all(followers(documents, ref) for ref in chain)
    numbers = {s.number for d in documents.plan.devices.values() for s in d.sources.values()}
    assert 114 not in numbers


def test_a_listener_that_is_forgotten_hears_the_wrong_programme(world: World) -> None:
    """As the playbook's comment says: left alone, the web stream would carry Talks.

    The chain is done by hand here, without a thought for listeners.
    """
    web = "rack-codec/2"
    assert heard(world.site, world.memories())[web] == {"studio-south-io/1"}
    world.device("news-booth-engine").set_source("program-2", number=114)
    world.device("studio-south-io").set_source("1", number=113)
    assert heard(world.site, world.memories())[web] == set()
    world.device("talks-engine").set_source("program-1", number=112)
    assert heard(world.site, world.memories())[web] == {"talks-engine/program-1"}


def test_a_listener_elsewhere_is_accepted_by_name(documents: Documents) -> None:
    """One listener outside the playbooks' rooms has to follow; its playbook accepts it."""
    rooms = {name: device.room for name, device in documents.plan.devices.items()}
    touched = {rooms[one.name] for one in asked(documents)}
    assert touched == set(documents.plan.rooms) - {"rack"}
    elsewhere = {
        f"listener:{ref}"
        for source in renumbered(documents)
        for ref in followers(documents, source)
        if rooms[ref.device] not in touched
    }
    accepted = {one.hazard for playbook in documents.playbooks for one in playbook.accepts}
    assert accepted == elsewhere == {"listener:rack-codec/output-2"}


def test_two_devices_exchange_addresses(documents: Documents, world: World) -> None:
    """Two small nodes in different rooms; each keeps its blocks, so no number changes."""
    plan = documents.plan
    moving = {
        one.name: one.addresses["main"]
        for one in asked(documents)
        if one.unit is Unit.KNOWN and one.addresses
    }
    assert len(moving) == 2
    one, other = (plan.devices[name] for name in moving)
    assert one.room != other.room
    assert (moving[one.name], moving[other.name]) == (other.address, one.address)
    for device in (one, other):
        assert len(running(world, device.name).sources) == 4
        assert world.machine(device.name).make == "tamarisk"
        assert {(s.number or 0) // 10 for s in device.sources.values()} == set(device.blocks)


def test_one_number_is_held_twice_already(documents: Documents, world: World) -> None:
    """Two enabled sources stream on 418; nobody listens there; one playbook moves the wrong one."""
    double = shared(held(world.site, world.memories()))
    both = {"studio-south-io/8", "studio-south-returns/8"}
    assert {thing.value: set(holders) for thing, holders in double.items()} == {
        "418": both,
        "239.194.1.162:5004": both,
    }
    assert all(running(world, name).sources["8"].enabled for name in map(_device, both))
    listening = heard(world.site, world.memories(), enabled_only=False)
    assert not any(both & sources for sources in listening.values())
    assert renumbered(documents)[MISKEYED] == (428, 428)


def test_nobody_points_at_a_number_that_somebody_is_to_get(world: World) -> None:
    """No destination in service points at a vacant number, where it would hear a newcomer."""
    at = {Ref(n, s): d for n in world.names for s, d in running(world, n).destinations.items()}
    groups = {s.group for n in world.names for s in running(world, n).sources.values()}
    pointed = {ref: d for ref, d in at.items() if ref.device not in ON_THE_BENCH and d.group}
    assert all(destination.group in groups for destination in pointed.values())
    assert at[Ref(REUSED, "2")] == Destination(0, "239.194.0.102:5004", "FAIR-CUE")


def test_what_moves_comes_back(documents: Documents) -> None:
    """No playbook switches off a source in service, and all that move are on at the start."""
    plan = documents.plan
    for one in asked(documents):
        if one.unit is Unit.KNOWN:
            assert all(source.enabled is None for source in one.sources.values())
    assert all(plan.devices[ref.device].sources[ref.name].enabled for ref in renumbered(documents))


def test_the_audit_finds_the_one_fault(documents: Documents, world: World) -> None:
    """As it stands, the facility has one fault, told as what it is and as whose it is."""
    scene = surveyed(documents, world)
    without_wishes = replace(scene, asked={}, rooms=frozenset())
    assert [hazard.name for hazard in audit(without_wishes)] == [
        "duplicate:418",
        "differs:studio-south-returns/input-8:number",
    ]


def test_all_of_it_together_can_be_done(documents: Documents, world: World) -> None:
    """All playbooks in one dry-run: proved, nothing left to accept, as little lent as can be.

    One ring of numbers and one of addresses, so one of each is lent: a ring can't be turned
    without a free place, and needs no more than one.
    """
    before = world.snapshot()
    plan = dry_run(surveyed(documents, world))
    assert plan.proved
    assert [hazard.name for hazard in plan.hazards if hazard.blocks] == []
    assert [hazard.name for hazard in plan.hazards] == ["listener:rack-codec/output-2"]
    assert set(plan.mended) == {"number 418 on media", "group 239.194.1.162:5004 on media"}
    lent = sorted(plan.lent.values())
    assert len(lent) == 2
    assert lent[0].startswith("127.44.3.23")
    assert lent[1].startswith("299")
    assert world.snapshot() == before
    assert sum(world.writes(name) for name in world.names) == 0
    assert world.requests("alert-inserter") == 0


def surveyed(documents: Documents, world: World) -> Scene:
    """Every playbook, and a survey of the simulated devices."""
    units = {name: world.machine(name).unit for name in world.names}
    secrets = {
        device.credentials: Secret(units[name].user, units[name].secret)
        for name, device in documents.plan.devices.items()
        if device.credentials
    }
    network = InMemory(world)
    opener = make_opener(
        documents.plan, documents.descriptions, secrets.__getitem__, {}, network=network
    )
    wishes = merge(documents.playbooks)
    found = asyncio.run(survey(documents.plan, wishes, opener, WallClock()))
    devices = documents.plan.devices
    return Scene(
        plan=documents.plan,
        found=found,
        asked=wishes,
        traits={
            name: traits_of(device, documents.descriptions)
            for name, device in devices.items()
            if device.speaks
        },
        rooms=frozenset(devices[name].room for name in wishes),
        accepted={a.hazard: a.reason for p in documents.playbooks for a in p.accepts},
    )


def _device(holder: str) -> str:
    return holder.partition("/")[0]
