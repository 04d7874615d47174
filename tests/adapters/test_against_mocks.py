"""The two device descriptions against the simulated devices, which know nothing of them."""

import asyncio
import dataclasses
from collections.abc import Mapping
from pathlib import Path

import pytest

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.in_memory import InMemory
from mocks.server import serve
from mocks.world import World
from orchestrator.adapters.http.probe import make_probe
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.open import make_opener
from orchestrator.documents.folder import load
from orchestrator.errors import (
    Broken,
    Busy,
    DeviceError,
    OutcomeUnknown,
    Rejected,
    SignInRefused,
    Unreachable,
)
from orchestrator.facility.description import Description, WriteRule
from orchestrator.facility.found import InterfaceState
from orchestrator.facility.plan import Device, Interface, Plan
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue
from orchestrator.running.protocols import OpenAdapter, Part
from tests.adapters.makes import CORVID, TAMARISK, a_step

K = StepKind
ENGINE, NODE = "127.44.3.31", "127.44.3.41"
GROUP = "239.194.1.200:5004"
SECRETS = {"engine": Secret("engineer", "engine-secret"), "node": Secret("", "node-secret")}

BOTH = {"domain": "{ptp_domain}", "priority": "{ptp_priority}"}
CLOCK = {
    name: WriteRule(method="PUT", path="/api/clock", body={**BOTH, member: "{value}"})
    for name, member in (("ptp_domain", "domain"), ("ptp_priority", "priority"))
}
MAKES: dict[str, Description] = {
    "corvid-engine": CORVID,
    "tamarisk-node": dataclasses.replace(TAMARISK, setting_writes=CLOCK),
}

WORLD = """
port: 8080
networks: {media: {subnet: 127.44.3.0/24}}
devices:
  engine:
    {make: corvid, model: CE-40, serial: CV-1, firmware: 4.1.2, address: 127.44.3.31, prefix: 24,
      gateway: 127.44.3.254, sign_in: {user: engineer, secret: engine-secret},
      sources: {program-1: {number: 311, label: N-1, enabled: true}, program-2: {number: 0}},
      destinations: {codec-1: {number: 411}}}
  node:
    {make: tamarisk, model: TN-8, serial: TM-1, firmware: "2.7", address: 127.44.3.41, prefix: 24,
      gateway: null, sign_in: {secret: node-secret},
      sources: {"1": {number: 411, label: MIC, enabled: true}, "2": {number: 0}},
      destinations: {"1": {group: "239.194.1.55:5004"}, "2": {group: ""}}}
"""


def planned(name: str, speaks: str, address: str) -> Device:
    """A device of the plan."""
    interfaces = (Interface("main", "media", address),)
    return Device(name=name, room="r", interfaces=interfaces, speaks=(speaks,), credentials=name)


PLAN = Plan(
    facility="Tern Point Radio",
    networks={},
    rooms={},
    devices={
        "engine": planned("engine", "corvid-engine", ENGINE),
        "node": planned("node", "tamarisk-node", NODE),
    },
)


def a_world() -> tuple[World, HandClock, OpenAdapter]:
    """The world in memory, its clock, and an opener over it."""
    clock = HandClock(100.0)
    world = World.from_text(WORLD, clock)
    network = InMemory(world, sleep=clock.advance, async_sleep=clock.sleep)
    patience = Patience(sleep=clock.sleep, now=clock)
    opener = make_opener(PLAN, MAKES, SECRETS.__getitem__, {}, network=network, patience=patience)
    return world, clock, opener


def test_the_examples_documents_read_the_examples_devices() -> None:
    """Each device of the example's plan says, through its description, what it holds."""
    root = Path(__file__).parents[2]
    documents = load(root / "playbooks")
    world = World.load(root / "mocks" / "tern_point.yaml", HandClock(100.0))
    held = world.memories()
    units = {name: world.machine(name).unit for name in held}
    plan = documents.plan
    secrets = {
        device.credentials: Secret(units[name].user, units[name].secret)
        for name, device in plan.devices.items()
        if device.credentials is not None
    }
    network = InMemory(world)
    opener = make_opener(plan, documents.descriptions, secrets.__getitem__, {}, network=network)

    async def whole() -> int:
        spoken_to = [name for name, device in plan.devices.items() if device.speaks]
        for name in spoken_to:
            truth = held[name].running
            adapter = opener(name, truth.lan.address)
            state = await adapter.read()
            await adapter.close()
            assert state.identity.serial == units[name].serial
            assert [lan.address for lan in state.interfaces.values()] == [truth.lan.address]
            numbers = sorted(source.number or 0 for source in state.sources.values())
            assert numbers == sorted(source.number for source in truth.sources.values())
            enabled = [source.enabled for source in state.sources.values()]
            assert enabled.count(True) == sum(s.enabled for s in truth.sources.values())
            assert len(state.destinations) == len(truth.destinations)
        return len(spoken_to)

    assert asyncio.run(whole()) > 5


def step(kind: StepKind, wanted: StepValue = None, **more: str) -> Step:
    """A step; the device is told by the adapter that it is given to."""
    return a_step(kind, wanted, **more)


def test_both_makes_are_read_whole() -> None:
    """Numbers, groups, labels, states, addresses and settings, each make in its own way."""
    _, _, opener = a_world()

    async def whole() -> None:
        engine = await (one := opener("engine", ENGINE)).read()
        node = await (other := opener("node", NODE)).read()
        await one.close()
        await other.close()
        assert [engine.identity.serial, node.identity.serial] == ["CV-1", "TM-1"]
        assert engine.interfaces["main"] == InterfaceState(
            address=ENGINE, prefix=24, gateway="127.44.3.254"
        )
        assert node.interfaces["main"] == InterfaceState(address=NODE, prefix=24)
        program, spare = engine.sources["program-1"], engine.sources["program-2"]
        assert (program.number, program.label, program.enabled) == (311, "N-1", True)
        assert (spare.number, spare.groups) == (None, (None,))
        mic, free = node.sources["input-1"], node.sources["input-2"]
        assert (mic.number, mic.groups, mic.label) == (411, ("239.194.1.155:5004",), "MIC")
        assert (free.number, free.groups, free.enabled) == (None, (None,), False)
        assert engine.destinations["codec-1"].hears == 411
        assert node.destinations["output-1"].hears == "239.194.1.55:5004"
        assert node.destinations["output-2"].hears is None
        assert engine.settings["ptp_domain"] == 0
        assert node.settings == {"ptp_domain": 0, "ptp_priority": 128}
        assert (engine.unsaved, node.unsaved) == (None, False)

    asyncio.run(whole())


def test_every_kind_of_step_lands_on_the_node() -> None:
    """From the disable to the save at the new address, as the read-back shows."""
    world, clock, opener = a_world()

    async def whole() -> None:
        node = opener("node", NODE)
        for one in (
            step(K.DISABLE, False, source="input-1"),
            step(K.RENUMBER, Assigned(456, (GROUP,)), source="input-1"),
            step(K.SET, "MIC-A", source="input-1", setting="label"),
            step(K.SET, 5, setting="ptp_domain"),
            step(K.SET, 99, setting="ptp_priority"),
            step(K.REPOINT, Hearing(group=GROUP), destination="output-2"),
            step(K.REPOINT, Hearing(), destination="output-1"),
            step(K.ENABLE, True, source="input-1"),
            step(K.READDRESS, AddressValue("main", "127.44.3.42", 24, "127.44.3.254")),
        ):
            await node.write(one)
        clock.advance(10.0)
        with pytest.raises(Unreachable):
            await node.identify()
        await node.close()
        moved = opener("node", "127.44.3.42")
        state = await moved.read()
        source = state.sources["input-1"]
        assert (source.number, source.groups, source.label) == (456, (GROUP,), "MIC-A")
        assert source.enabled
        assert state.settings == {"ptp_domain": 5, "ptp_priority": 99}
        assert [held.hears for held in state.destinations.values()] == [None, GROUP]
        assert state.interfaces["main"].gateway == "127.44.3.254"
        assert state.unsaved is True
        await moved.write(step(K.SAVE))
        assert (await moved.read(frozenset({Part.UNSAVED}))).unsaved is False
        await moved.close()

    asyncio.run(whole())
    assert world.writes("node") == 10


def test_the_engine_says_why_it_refuses() -> None:
    """Its own words are told, and nothing has changed."""
    _, _, opener = a_world()

    async def whole() -> None:
        engine = opener("engine", ENGINE)
        renumber = step(K.RENUMBER, Assigned(312, (None,)), source="program-1")
        with pytest.raises(Rejected) as refused:
            await engine.write(renumber)
        assert (refused.value.status, refused.value.said) == (409, "409: stream is sending")
        await engine.write(step(K.DISABLE, False, source="program-1"))
        await engine.write(renumber)
        await engine.write(step(K.REPOINT, Hearing(number=312), destination="codec-1"))
        state = await engine.read()
        assert state.sources["program-1"].number == 312
        assert state.destinations["codec-1"].hears == 312
        await engine.close()

    asyncio.run(whole())


@pytest.mark.parametrize(
    ("kind", "error"),
    [
        (Kind.DROP_REQUEST, OutcomeUnknown),
        (Kind.DROP_ANSWER, OutcomeUnknown),
        (Kind.HALF_BODY, OutcomeUnknown),
        (Kind.ERROR, OutcomeUnknown),
        (Kind.REBOOT_AFTER, OutcomeUnknown),
        (Kind.BUSY, Busy),
        (Kind.SIGN_IN, SignInRefused),
    ],
)
@pytest.mark.parametrize("real", [False, True], ids=["memory", "sockets"])
def test_a_write_that_goes_wrong_is_sent_once_and_judged(
    kind: Kind, error: type[DeviceError], *, real: bool
) -> None:
    """In memory and over real sockets the same error comes, and the device got one request."""
    world, _, opener = a_world()
    if real:
        world = World.from_text(WORLD)
    world.add_fault("node", Fault(kind, method="PUT", seconds=0.1))
    if real:
        with serve(world, connect_map=True) as running:
            over_wire = make_opener(PLAN, MAKES, SECRETS.__getitem__, running.connect_map)
            asyncio.run(failing(over_wire, error))
    else:
        asyncio.run(failing(opener, error))
    assert len([asked for asked in world.log if asked.method == "PUT"]) == 1


async def failing(opener: OpenAdapter, error: type[DeviceError]) -> None:
    """Make one write that fails."""
    node = opener("node", NODE)
    with pytest.raises(error):
        await node.write(step(K.DISABLE, False, source="input-1"))
    await node.close()


@pytest.mark.parametrize("kind", [Kind.DROP_REQUEST, Kind.HALF_BODY, Kind.ERROR, Kind.BUSY])
def test_a_read_that_goes_wrong_once_is_repeated(kind: Kind) -> None:
    """A survey does not stumble over one lost packet."""
    world, _, opener = a_world()
    world.add_fault("engine", Fault(kind))

    async def whole() -> None:
        engine = opener("engine", ENGINE)
        assert (await engine.identify()).serial == "CV-1"
        await engine.close()

    asyncio.run(whole())


def test_a_busy_device_gets_the_time_that_it_asks_for() -> None:
    """Retry-After passes on the clock, in seconds."""
    world, clock, opener = a_world()
    world.add_fault("engine", Fault(Kind.BUSY, retry_after="3"))

    async def whole() -> None:
        engine = opener("engine", ENGINE)
        await engine.identify()
        await engine.close()

    asyncio.run(whole())
    assert clock() == 103.0


def test_a_device_that_stays_broken_is_told_as_that() -> None:
    """After a few tries the last error stands."""
    world, _, opener = a_world()
    world.add_fault("engine", Fault(Kind.ERROR, always=True))

    async def whole() -> None:
        engine = opener("engine", ENGINE)
        with pytest.raises(Broken):
            await engine.identify()
        await engine.close()

    asyncio.run(whole())


def test_a_device_that_moves_is_found_over_the_connect_map() -> None:
    """Readdressed on real sockets: the probe sees it leave the old address and come to the new."""
    quick = {name: dataclasses.replace(held, timeout_s=5.0) for name, held in MAKES.items()}
    world = World.from_text(WORLD)

    async def whole(connect: Mapping[str, str]) -> list[bool]:
        opener = make_opener(PLAN, quick, SECRETS.__getitem__, connect)
        probe = make_probe(PLAN, quick, connect)
        new = "127.44.3.45"
        seen = [await probe("node", NODE) is not None, await probe("node", new) is not None]
        node = opener("node", NODE)
        await node.write(step(K.READDRESS, AddressValue("main", new, 24, None)))
        await node.close()
        moved = opener("node", new)
        for _ in range(100):
            if await probe("node", new) is not None:
                break
            await asyncio.sleep(0.05)
        assert (await moved.identify()).serial == "TM-1"
        await moved.close()
        return [*seen, await probe("node", NODE) is not None]

    with serve(world, connect_map=True) as running:
        assert asyncio.run(whole(running.connect_map)) == [True, False, False]
