import asyncio
import dataclasses
import json
from typing import Any

import httpx
import pytest

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.server import serve
from mocks.world import World
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.nmos.dialect import TRAITS, Nmos
from orchestrator.adapters.open import make_opener, traits_of
from orchestrator.errors import Broken, Busy, CallError, DeviceError, OutcomeUnknown, Rejected
from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.plan import Device, Interface, Plan, PlannedSource, Room
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import OpenAdapter, Part
from tests.adapters.makes import TAMARISK, played
from tests.adapters.nodes import (
    ADDRESS,
    BASE,
    CHART,
    DEVICE,
    GROUP,
    NODE_API,
    OTHER,
    PARTY,
    RECEIVER,
    SENDERS,
    answer_by,
    answer_of,
    answers,
    disable,
    ear,
    enable,
    leg,
    renumber,
    repoint,
    sending,
    step,
    stream,
)
from tests.amwa import conforms, needs_schemas
from tests.mocks.nodes import a_node, a_world
from tests.planning.scenes import MEDIA

SENDER = f"{BASE}/single/senders/{SENDERS[0]}"


def read(held: dict[str, Any], parts: frozenset[Part] = frozenset(Part)) -> DeviceState:
    """Read a node that answers as ``held`` says."""
    state, _ = played(Nmos(PARTY, CHART).read(parts), answer_by(held))
    return state


def written(what: Step, held: dict[str, Any] | None = None) -> list[Request]:
    """The requests of a write."""
    _, asked = played(Nmos(PARTY, CHART).write(what), answer_by(held or answers()))
    return asked


def refused(what: Step, held: dict[str, Any] | None = None) -> str:
    """Why a write is refused, with nothing sent that changes anything."""
    sent: list[Request] = []
    answer = answer_by(held or answers())

    def noted(request: Request) -> Response:
        sent.append(request)
        found: Response = answer(request)
        return found

    with pytest.raises((Rejected, Broken)) as why:
        played(Nmos(PARTY, CHART).write(what), noted)
    assert all(request.reads for request in sent)
    assert (why.value.device, why.value.address) == (PARTY.device, ADDRESS)
    return why.value.said


def test_the_whole_state() -> None:
    """Senders are sources and receivers destinations; a group is its number by the plan's rule."""
    assert read(answers()) == DeviceState(
        identity=Identity(serial="SW-7", model="SN-2"),
        interfaces={"eth0": InterfaceState(address=ADDRESS, prefix=24)},
        sources={
            "PGM": SourceState(number=411, groups=(GROUP,), label="PGM", enabled=True),
            "Spare": SourceState(number=None, groups=(None,), label="Spare", enabled=False),
        },
        destinations={"MON": DestinationState(hears=GROUP, label="MON")},
    )


def test_a_group_that_stands_for_no_number_is_shown_alone() -> None:
    """It is held all the same."""
    held = answers() | {f"{SENDER}/active": sending(leg("239.1.2.3"))}
    assert read(held).sources["PGM"] == SourceState(
        number=None, groups=("239.1.2.3:5004",), label="PGM", enabled=True
    )


@pytest.mark.parametrize(
    ("parts", "asked"),
    [
        (set(), {"self"}),
        ({Part.SETTINGS, Part.UNSAVED}, {"self"}),
        ({Part.SOURCES}, {"self", "devices", "senders"}),
        ({Part.DESTINATIONS}, {"self", "devices", "receivers"}),
        ({Part.INTERFACES}, {"self", "devices", "senders", "receivers"}),
    ],
)
def test_parts_are_read_by_themselves(parts: set[Part], asked: set[str]) -> None:
    """Only what is needed is asked for; the rest stands empty."""
    talk = Nmos(PARTY, CHART).read(frozenset(parts))
    state, requests = played(talk, answer_by(answers()))
    node_api = {one.path for one in requests if one.path.startswith(NODE_API)}
    assert node_api == {f"{NODE_API}/{name}" for name in asked}
    assert bool(state.sources) is (Part.SOURCES in parts)
    assert bool(state.destinations) is (Part.DESTINATIONS in parts)
    assert bool(state.interfaces) is (Part.INTERFACES in parts)


def test_the_connection_api_is_asked_where_the_controls_say() -> None:
    """At its own port; the Node API at the one that the node was opened at."""
    _, requests = played(Nmos(PARTY, CHART).read(), answer_by(answers()))
    assert {one.port for one in requests if one.path.startswith(NODE_API)} == {None}
    assert {one.port for one in requests if one.path.startswith(BASE)} == {8088}


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (f"{NODE_API}/self", []),
        (f"{NODE_API}/devices", {}),
        (f"{NODE_API}/devices", [{"id": DEVICE, "controls": []}]),
        (f"{NODE_API}/senders", [stream("x/..", "PGM")]),
        (f"{SENDER}/active", {}),
        (f"{BASE}/single/receivers/{RECEIVER}/active", {"transport_params": [ear()]}),
    ],
)
def test_what_makes_no_sense_is_broken(path: str, value: Any) -> None:
    """Whichever answer it is, the path is named."""
    with pytest.raises(Broken) as why:
        read(answers() | {path: value})
    assert why.value.said.startswith("GET /x-nmos/")


def test_what_is_no_json_is_broken() -> None:
    """It is said where."""

    def answer(_: Request) -> Response:
        return Response(status=200, body=b"<html>")

    with pytest.raises(Broken, match="no JSON"):
        played(Nmos(PARTY).identify(), answer)


REDIRECTS = {
    f"{NODE_API}/self/": f"{NODE_API}/self/",
    f"http://{ADDRESS}/there?x=1": "/there?x=1",
    f"//{ADDRESS}:80/there": "/there",
}


@pytest.mark.parametrize("location", REDIRECTS)
def test_a_redirect_on_the_node_itself_is_followed(location: str) -> None:
    """Real nodes move a path to its form with a slash, or without (301)."""

    def answer(request: Request) -> Response:
        if request.path == f"{NODE_API}/self":
            return Response(status=301, headers={"location": location})
        assert request.path == REDIRECTS[location]
        assert request.port == (80 if "//" in location else None)
        return Response(status=200, body=json.dumps(answers()[f"{NODE_API}/self"]).encode())

    identity, requests = played(Nmos(PARTY).identify(), answer)
    assert (identity.serial, len(requests)) == ("SW-7", 2)


@pytest.mark.parametrize("location", ["http://192.0.2.9/x", f"https://{ADDRESS}/x", "//[::1/x", ""])
def test_a_redirect_elsewhere_is_not_followed(location: str) -> None:
    """Another host, another scheme, or none at all."""

    def answer(_: Request) -> Response:
        return Response(status=302, headers={"location": location} if location else {})

    with pytest.raises(Rejected, match="points elsewhere"):
        played(Nmos(PARTY).identify(), answer)


def test_a_circle_of_redirects_ends() -> None:
    """After two."""

    def answer(request: Request) -> Response:
        return Response(status=301, headers={"location": f"{request.path}/"})

    with pytest.raises(Broken, match="circles"):
        played(Nmos(PARTY).identify(), answer)


def test_a_write_reads_first_and_sends_one_request_last() -> None:
    """Where it stands, what is staged, what is allowed; then one PATCH without a slash."""
    asked = written(renumber(456, OTHER))
    assert [one.path for one in asked[-4:]] == [
        f"{SENDER}/active",
        f"{SENDER}/staged",
        f"{SENDER}/constraints",
        f"{SENDER}/staged",
    ]
    assert [one.method for one in asked if not one.reads] == ["PATCH"]
    assert (asked[-1].method, asked[-1].port) == ("PATCH", 8088)
    assert asked[-1].doing == "renumbering source PGM"


def test_where_a_stream_is_managed_is_remembered_from_the_last_read() -> None:
    """So that a write after a read asks for no lists again."""
    dialect = Nmos(PARTY, CHART)
    played(dialect.read(frozenset({Part.SOURCES})), answer_by(answers()))
    _, asked = played(dialect.write(disable()), answer_by(answers()))
    ends = [one.path.rpartition("/")[2] for one in asked]
    assert ends == ["active", "staged", "staged"]
    _, asked = played(dialect.write(repoint(OTHER)), answer_by(answers()))
    assert f"{NODE_API}/receivers" in {one.path for one in asked}


def test_what_is_so_already_is_only_read() -> None:
    """No activation is sent for it."""
    assert all(one.reads for one in written(enable()))


def test_writes_that_are_refused_before_anything_is_sent() -> None:
    """No such stream; a number that is not its group's; what the standards have no way for."""
    assert "no 'nobody' among its senders" in refused(disable("nobody"))
    assert "no 'nobody' among its receivers" in refused(repoint(GROUP, "nobody"))
    assert "not the group of number 7" in refused(renumber(7, OTHER))
    assert "no group yet" in refused(enable("Spare"))
    address = AddressValue("eth0", "127.44.3.42", 24)
    assert refused(step(StepKind.READDRESS, address)) == (
        "the standards offer no way to change a node's own address"
    )
    assert "label" in refused(step(StepKind.SET, "N", source="PGM", setting="label"))
    assert "save" in refused(step(StepKind.SAVE))


def test_constraints_are_looked_at_before_a_write() -> None:
    """What the leg does not take is refused here; a node that has none is written to."""
    ports = [{"destination_ip": {"pattern": r"^239\.1\."}}]
    held = answers() | {f"{SENDER}/constraints": ports}
    assert "its leg 1 does not take destination_ip" in refused(renumber(456, OTHER), held)
    answer = answer_by(answers())

    def without(request: Request) -> Response:
        if request.path.endswith("/constraints"):
            assert 404 in request.also_fine
            return Response(status=404, body=b"{}")
        found: Response = answer(request)
        return found

    _, asked = played(Nmos(PARTY, CHART).write(renumber(456, OTHER)), without)
    assert asked[-1].method == "PATCH"


def test_what_makes_no_sense_is_not_written_to() -> None:
    """The active state is needed to say what is to stay."""
    assert "transport_params" in refused(disable(), answers() | {f"{SENDER}/active": {}})
    held = answers() | {f"{SENDER}/active": sending(), f"{SENDER}/staged": []}
    assert "transport_params" in refused(disable(), held)


def test_the_traits() -> None:
    """It hears groups, keeps at once, has numbers by the rule, and says what it can't do."""
    assert Nmos(PARTY).traits is TRAITS
    assert TRAITS.numbers_by_rule
    assert not TRAITS.tried_with
    assert StepKind.READDRESS not in TRAITS.can
    assert not TRAITS.can & set(TRAITS.cannot)
    assert (
        TRAITS.cannot[StepKind.READDRESS]
        == "the standards offer no way to change a node's own address"
    )


# Against the simulated node, which knows nothing of this.


@needs_schemas
@pytest.mark.parametrize("legs", [1, 2])
def test_every_request_conforms(legs: int) -> None:
    """Each body that is sent conforms to the schemas of AMWA IS-05 v1.1, and does what it says."""
    node, dialect = a_node(legs=legs), Nmos(PARTY, CHART)
    answer = answer_of(node)
    moved = (OTHER,) * legs
    steps = (disable(), renumber(456, *moved), repoint(OTHER), enable(), repoint(None))
    schemas = {"senders": "sender-stage-schema", "receivers": "receiver-stage-schema"}
    for one in steps:
        _, asked = played(dialect.write(one), answer)
        sent = asked[-1]
        assert sent.method == "PATCH"
        conforms(sent.body, "is-05", schemas[sent.path.split("/")[5]])
        _, again = played(dialect.write(one), answer)
        assert all(request.reads for request in again), "done, so nothing is left to send"
    state, _ = played(dialect.read(), answer)
    assert state.sources["PGM"] == SourceState(number=456, groups=moved, label="PGM", enabled=True)
    assert state.destinations["MON"].hears is None


PLAN = Plan(
    facility="Tern Point Radio",
    networks={"media": MEDIA},
    rooms={"rack": Room("rack", "point", "media")},
    devices={
        "node": Device(
            name="node",
            room="rack",
            speaks=("nmos",),
            serial="SW-7",
            interfaces=(Interface("main", "media", ADDRESS),),
            sources={"air": PlannedSource(name="air", slot="PGM")},
        )
    },
)


def no_secrets(name: str) -> Secret:
    """A node signs in to nothing, so nobody asks."""
    raise AssertionError(name)


def opener(connect: Any) -> OpenAdapter:
    """What opens the node; a read is tried once."""
    return make_opener(PLAN, {}, no_secrets, connect, patience=Patience(attempts=1))


def test_its_traits_are_known_before_it_is_spoken_to() -> None:
    """They are those of every node."""
    assert traits_of(PLAN.devices["node"], {}) is TRAITS


@pytest.mark.parametrize(("port", "base"), [(None, ""), (8080, ":8080")])
def test_its_node_api_is_where_the_plan_says(port: int | None, base: str) -> None:
    """At port 80 unless the plan gives another; nobody signs in."""
    seen: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        seen.append(str(request.url))
        assert "authorization" not in request.headers
        return httpx.Response(200, json=answers()[f"{NODE_API}/self"])

    device = dataclasses.replace(PLAN.devices["node"], port=port)
    plan = dataclasses.replace(PLAN, devices={"node": device})
    opened = make_opener(plan, {}, no_secrets, {}, network=httpx.MockTransport(answer))

    async def once() -> None:
        adapter = opened("node", ADDRESS)
        try:
            await adapter.identify()
        finally:
            await adapter.close()

    asyncio.run(once())
    assert seen == [f"http://{ADDRESS}{base}{NODE_API}/self"]


def test_a_description_may_stand_beside_it_or_under_its_very_name() -> None:
    """The facility's own folder has the last word; what nobody knows is passed over."""

    def traits(*ways: str, described: tuple[str, ...] = ("tamarisk-node",)) -> Traits:
        device = dataclasses.replace(PLAN.devices["node"], speaks=ways)
        return traits_of(device, dict.fromkeys(described, TAMARISK))

    assert traits("nmos") is TRAITS
    assert traits("unknown", "nmos") is TRAITS
    assert traits("nmos", "tamarisk-node") != TRAITS
    assert traits("nmos", described=("nmos",)) is TAMARISK.traits
    with pytest.raises(CallError):
        traits("unknown")


@pytest.mark.parametrize("legs", [1, 2])
def test_a_whole_change_over_sockets(legs: int) -> None:
    """Disable, renumber, repoint, enable: each is read back as it was asked for."""
    world = a_world(legs=legs)
    moved = (OTHER,) * legs

    async def change(connect: Any) -> None:
        adapter = opener(connect)("node", ADDRESS)
        try:
            assert (await adapter.identify()).serial == "SW-7"
            before = await adapter.read()
            assert before.sources["air"].groups == (GROUP,) * legs
            assert (before.sources["air"].number, before.sources["air"].enabled) == (411, True)
            await adapter.write(disable("air"))
            assert not (await adapter.read()).sources["air"].enabled
            await adapter.write(renumber(456, *moved, source="air"))
            source = (await adapter.read()).sources["air"]
            assert (source.number, source.groups, source.enabled) == (456, moved, False)
            await adapter.write(repoint(OTHER, "MON"))
            assert (await adapter.read()).destinations["MON"].hears == OTHER
            await adapter.write(enable("air"))
            after = await adapter.read()
            assert after.sources["air"].enabled
            assert after.sources["air"].number == 456
            assert after.interfaces == before.interfaces
        finally:
            await adapter.close()

    with serve(world, connect_map=True) as running:
        asyncio.run(change(running.connect_map))
    assert world.writes("node") == 4
    source = world.machine("node").memory.saved.sources["program"]
    assert (source.group, source.enabled) == (OTHER, True)


def failing(fault: Fault | None, what: Step, prepare: Any = None) -> DeviceError:
    """A write over sockets that does not succeed."""
    world = World.from_text(_WORLD, HandClock())
    if fault:
        world.add_fault("node", fault)

    async def once(connect: Any, url: str) -> None:
        adapter = opener(connect)("node", ADDRESS)
        try:
            if prepare:
                await prepare(url)
            await adapter.write(what)
        finally:
            await adapter.close()

    with serve(world, connect_map=True) as running, pytest.raises(DeviceError) as why:
        asyncio.run(once(running.connect_map, running.url("node")))
    return why.value


_WORLD = """
networks: {media: {subnet: 127.44.3.0/24}}
devices:
  node:
    {make: nmos, model: SN-2, serial: SW-7, firmware: "1.0", address: 127.44.3.41, prefix: 24,
      sources: {program: {number: 411, label: PGM, enabled: true}}}
"""


def test_a_scheduled_activation_of_another_hand_makes_it_busy() -> None:
    """423, with the node's own words."""
    found: dict[str, str] = {}

    async def schedule(url: str) -> None:
        async with httpx.AsyncClient(base_url=url) as client:
            senders = (await client.get(f"{NODE_API}/senders")).json()
            found["id"] = senders[0]["id"]
            body = {
                "activation": {"mode": "activate_scheduled_relative", "requested_time": "3600:0"}
            }
            path = f"{BASE}/single/senders/{found['id']}/staged"
            assert (await client.patch(path, json=body)).status_code == 202

    error = failing(None, disable("air"), schedule)
    assert isinstance(error, Busy)
    assert error.said == "423: Locked: an activation is scheduled"


def test_a_lost_answer_leaves_the_outcome_unknown() -> None:
    """The activation may have happened."""
    lost = Fault(Kind.DROP_ANSWER, method="PATCH")
    assert isinstance(failing(lost, disable("air")), OutcomeUnknown)
