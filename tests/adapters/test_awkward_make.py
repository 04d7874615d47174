"""A description of an awkward make against its simulation: all that a description can say.

The description is a document; no code here or in the tool knows the make.
"""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.in_memory import InMemory
from mocks.makes.marram import REQUESTS_A_SESSION
from mocks.world import World
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.open import make_opener
from orchestrator.documents.devices.build import build_description
from orchestrator.documents.devices.model import DescriptionModel
from orchestrator.documents.reading import yaml_reader
from orchestrator.errors import DeviceError, OtherHand, SignInRefused
from orchestrator.facility.found import InterfaceState, SourceState
from orchestrator.facility.plan import Device, Interface, Plan
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.running.protocols import DeviceAdapter, Part
from tests.adapters.makes import a_step

K = StepKind
AT = "127.44.3.42"
DOCUMENT = Path(__file__).parents[1] / "devices" / "marram-frame.yaml"
WORLD = """
port: 8080
networks: {media: {subnet: 127.44.3.0/24}}
devices:
  desk:
    {make: marram, model: MR-6, serial: MM-42, firmware: 1.9.4, address: 127.44.3.42, prefix: 24,
      gateway: 127.44.3.254, sign_in: {user: engineer, secret: a word & more},
      sources: {"1": {number: 421, label: MIC, enabled: true}, "3": {number: 0}},
      destinations: {"2": {number: 311, label: MON}}}
"""


def described() -> tuple[DescriptionModel, Any]:
    """The document, and its value."""
    tree, problems = yaml_reader.read(DOCUMENT.read_bytes(), "marram-frame.yaml")
    assert problems == ()
    model = DescriptionModel.model_validate(tree.plain())
    description, faults = build_description(model)
    assert faults == ()
    return model, description


def talk(
    act: Callable[[DeviceAdapter], Awaitable[Any]],
    world: World | None = None,
    word: str = "a word & more",
) -> World:
    """Speak to the one device of the world."""
    clock = HandClock(100.0)
    world = world or World.from_text(WORLD, clock)
    desk = Device(
        name="desk",
        room="r",
        interfaces=(Interface("main", "media", AT),),
        speaks=("marram-frame",),
        credentials="desk",
    )
    plan = Plan(facility="Tern Point Radio", networks={}, rooms={}, devices={"desk": desk})
    opener = make_opener(
        plan,
        {"marram-frame": described()[1]},
        lambda _: Secret("engineer", word),
        {},
        network=InMemory(world, sleep=clock.advance, async_sleep=clock.sleep),
        patience=Patience(attempts=1),
    )

    async def whole() -> None:
        adapter = opener("desk", AT)
        await act(adapter)
        await adapter.close()

    asyncio.run(whole())
    return world


def found(value: object, kind: StepKind, wanted: object, **more: str) -> Step:
    """A step, with what it found."""
    made = a_step(kind, wanted, **more)
    return Step(**{**_fields(made), "as_found": value})


def _fields(step: Step) -> dict[str, Any]:
    return {name: getattr(step, name) for name in Step.__dataclass_fields__}


OFF = found(True, K.DISABLE, False, source="out-1")
LABEL = found("MIC", K.SET, "VOICE", source="out-1", setting="label")
NUMBER = found(Assigned(421), K.RENUMBER, Assigned(500), source="out-1")


def test_it_is_read_whole() -> None:
    """Holes, texts for numbers, a mute, a gateway in another place, a version with a letter."""

    async def act(desk: DeviceAdapter) -> None:
        state = await desk.read()
        assert state.identity.firmware == "1.9.4"
        assert state.identity.serial == "MM-42"
        assert state.interfaces == {
            "main": InterfaceState(address=AT, prefix=24, gateway="127.44.3.254")
        }
        assert state.sources == {
            "out-1": SourceState(number=421, groups=(), label="MIC", enabled=True),
            "out-3": SourceState(number=None, groups=(), label="", enabled=False),
        }
        assert {name: each.hears for name, each in state.destinations.items()} == {"in-2": 311}
        assert state.settings == {"ptp_domain": 0, "sample_rate": 48, "meter_hold": 0}
        assert state.unsaved is False

    talk(act)


def test_every_kind_of_step_lands() -> None:
    """Each written in its own way, and read back; what the tool does not know of stays."""

    async def act(desk: DeviceAdapter) -> None:
        for step in (
            OFF,
            NUMBER,
            LABEL,
            found(0, K.SET, 5, setting="ptp_domain"),
            found(Hearing(311), K.REPOINT, Hearing(), destination="in-2"),
            found(False, K.ENABLE, True, source="out-1"),
            found(
                AddressValue("main", AT, 24, "127.44.3.254"),
                K.READDRESS,
                AddressValue("main", "127.44.3.43", 24, "127.44.3.254"),
            ),
        ):
            await desk.write(step)
        state = await desk.read(frozenset({Part.SOURCES, Part.UNSAVED, Part.DESTINATIONS}))
        first = state.sources["out-1"]
        assert (first.number, first.label, first.enabled) == (500, "VOICE", True)
        assert state.destinations["in-2"].hears is None
        assert state.unsaved is True
        await desk.write(a_step(K.SAVE))
        assert (await desk.read(frozenset({Part.UNSAVED}))).unsaved is False

    world = talk(act)
    held = world.machine("desk").memory.saved
    assert held.settings == {"ptp_domain": 5, "ptp_priority": 128}
    assert held.destinations["2"].label == "MON"
    posted = [asked for asked in world.log if asked.path == "/in/2"]
    assert len(posted) == 1


@pytest.mark.parametrize("step", [OFF, LABEL], ids=["whole", "patch"])
@pytest.mark.parametrize("left", [0, 1, 2])
def test_a_session_that_ends_in_mid_run_is_renewed(step: Step, left: int) -> None:
    """Whichever of the requests meets the end of the cookie, the write lands once."""

    async def act(desk: DeviceAdapter) -> None:
        await desk.read(frozenset({Part.SOURCES}))  # about and out
        for _ in range(REQUESTS_A_SESSION - 2 - left):
            await desk.identify()
        await desk.write(step)
        state = await desk.read(frozenset({Part.SOURCES}))
        source = state.sources["out-1"]
        assert (source.enabled, source.label) in {(False, "MIC"), (True, "VOICE")}

    world = talk(act)
    sessions = [asked for asked in world.log if asked.path == "/session"]
    assert len(sessions) == 2
    done = [a for a in world.log if a.method in ("PUT", "PATCH") and a.outcome == "200"]
    assert len(done) == 1


def test_a_wrong_word_is_a_refused_sign_in() -> None:
    """The MR-6 says 200 and sets no cookie; that is no sign-in."""

    async def act(desk: DeviceAdapter) -> None:
        for attempt in (desk.identify(), desk.write(OFF)):
            with pytest.raises(SignInRefused, match="no cookie was set"):
                await attempt

    world = talk(act, word="wrong")
    assert {asked.path for asked in world.log} == {"/session"}


def raced(step: Step, method: str, meanwhile: Callable[[World], object]) -> DeviceError:
    """A write with somebody else at work between its read and itself; gives what was raised."""
    world = World.from_text(WORLD, HandClock(100.0))
    fault = Fault(Kind.CALL, method=method, path="/out/1", do=lambda: meanwhile(world))
    world.add_fault("desk", fault)
    caught: list[DeviceError] = []

    async def act(desk: DeviceAdapter) -> None:
        await desk.read(frozenset({Part.SOURCES}))
        try:
            await desk.write(step)
        except DeviceError as error:
            caught.append(error)

    talk(act, world)
    assert len([asked for asked in world.log if asked.method == method]) == 1
    (error,) = caught
    return error


def test_another_hand_between_read_and_write_is_told_by_the_tag() -> None:
    """412: what the other one changed stands, even where the step is about something else."""
    world: list[World] = []

    def meanwhile(held: World) -> None:
        world.append(held)
        held.another_hand("desk").set_source("1", label="THEIRS")

    error = raced(OFF, "PUT", meanwhile)
    assert type(error) is OtherHand
    assert error.said == "412: somebody else was here"
    source = world[0].machine("desk").memory.running.sources["1"]
    assert (source.label, source.enabled) == ("THEIRS", True)


def test_another_hand_is_told_by_the_patchs_own_test() -> None:
    """409 to a patch whose test says what the step found."""
    error = raced(
        LABEL, "PATCH", lambda held: held.another_hand("desk").set_source("1", label="THEIRS")
    )
    assert type(error) is OtherHand
    assert error.said.startswith("409: /text is not")


def test_another_hand_before_the_read_is_seen_in_it() -> None:
    """The number is no longer the one that the step found: nothing is sent at all."""
    world = World.from_text(WORLD, HandClock(100.0))

    async def act(desk: DeviceAdapter) -> None:
        await desk.read(frozenset({Part.SOURCES}))
        world.another_hand("desk").set_source("1", number=600)
        with pytest.raises(OtherHand, match="its number is no longer as found"):
            await desk.write(NUMBER)

    talk(act, world)
    assert world.writes("desk") == 1  # the sign-in
