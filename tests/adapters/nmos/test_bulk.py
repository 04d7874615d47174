"""Several streams in one request (AMWA IS-05 v1.1): a node as data, and the simulated one."""

import asyncio
import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.in_memory import InMemory
from mocks.world import World
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.nmos import bulk
from orchestrator.adapters.nmos.dialect import TRAITS, Nmos
from orchestrator.adapters.nmos.node import Place
from orchestrator.adapters.open import make_opener
from orchestrator.errors import (
    Busy,
    DeviceError,
    OutcomeUnknown,
    PartlyRefused,
    Rejected,
    Unreachable,
)
from orchestrator.facility.found import DeviceState
from orchestrator.facility.plan import Device, Interface, Plan, Room
from orchestrator.facility.step import Step
from orchestrator.running.protocols import DeviceAdapter
from tests.adapters.makes import played
from tests.adapters.nmos.test_device import no_secrets
from tests.adapters.nodes import (
    ADDRESS,
    BASE,
    CHART,
    GROUP,
    OTHER,
    PARTY,
    RECEIVER,
    SENDERS,
    answer_by,
    answers,
    disable,
    enable,
    leg,
    renumber,
    repoint,
    sending,
)
from tests.amwa import conforms, needs_schemas
from tests.planning.scenes import MEDIA

PARTS = [bulk.Part("a", "disabling", "ID-A", {}), bulk.Part("b", "enabling", "id-b", {})]
WORLD = f"""
port: 80
networks: {{media: {{subnet: 127.44.3.0/24}}}}
devices:
  rack-node:
    {{make: nmos, model: SN-2, serial: SW-7, firmware: "1.0", address: {ADDRESS}, prefix: 24,
      habits: [HABITS],
      sources: {{program: {{group: "239.194.1.155:5004", label: PGM, enabled: true}},
        spare: {{group: "239.194.1.156:5004", label: Spare, enabled: true}},
        third: {{group: "239.194.1.157:5004", label: Third}}}},
      destinations: {{monitor: {{group: "{GROUP}", label: MON}}, codec: {{label: COD}}}}}}
"""
SEVERAL = (
    replace(disable(), id="off"),
    replace(disable("Spare"), id="spare"),
    replace(renumber(456, OTHER, source="Third"), id="moved"),
)


def a_world(*habits: str) -> World:
    """A node with three senders and two receivers."""
    return World.from_text(WORLD.replace("HABITS", ", ".join(habits)), HandClock())


def spoken(world: World, *steps: Step) -> tuple[DeviceError | None, DeviceState]:
    """What comes of steps in one request, and what is there after them."""
    device = Device(
        name="rack-node",
        room="rack",
        interfaces=(Interface("main", "media", ADDRESS),),
        speaks=("nmos",),
    )
    plan = Plan(
        facility="Tern Point Radio",
        networks={"media": MEDIA},
        rooms={"rack": Room("rack", "point", "media")},
        devices={"rack-node": device},
    )

    async def talk() -> tuple[DeviceError | None, DeviceState]:
        opener = make_opener(
            plan, {}, no_secrets, {}, network=InMemory(world), patience=Patience(attempts=1)
        )
        adapter: DeviceAdapter = opener("rack-node", ADDRESS)
        try:
            await adapter.write(*steps)
        except DeviceError as error:
            failure: DeviceError | None = error
        else:
            failure = None
        world.clear_faults("rack-node")
        state = await adapter.read()
        await adapter.close()
        return failure, state

    return asyncio.run(talk())


def sent(world: World) -> list[str]:
    """The requests that asked for a change."""
    return [one.path for one in world.log if one.method in ("POST", "PATCH")]


def on(state: DeviceState) -> set[str]:
    """The sources that are on."""
    return {name for name, source in state.sources.items() if source.enabled}


def test_several_senders_in_one_request() -> None:
    """Of several kinds of step at once."""
    world = a_world()
    error, state = spoken(world, *SEVERAL)
    assert error is None
    assert on(state) == set()
    assert state.sources["Third"].groups == (OTHER,)
    assert sent(world) == [f"{BASE}/bulk/senders"]
    error, state = spoken(world, replace(enable(), id="a"), replace(enable("Spare"), id="b"))
    assert (error, on(state)) == (None, {"PGM", "Spare"})


def test_several_receivers_in_one_request() -> None:
    """Each where it is to listen; to nothing as well."""
    world = a_world()
    steps = (replace(repoint(None), id="a"), replace(repoint(OTHER, "COD"), id="b"))
    error, state = spoken(world, *steps)
    assert error is None
    heard = {name: one.hears for name, one in state.destinations.items()}
    assert heard == {"MON": None, "COD": OTHER}
    assert sent(world) == [f"{BASE}/bulk/receivers"]


@pytest.mark.parametrize(
    ("status", "kind"), [(409, Rejected), (423, Busy), (500, OutcomeUnknown), (403, DeviceError)]
)
def test_one_part_refused_leaves_the_others_done(status: int, kind: type[DeviceError]) -> None:
    """Such a request is not atomic: each part is told by its own status, with the node's words."""
    world = a_world()
    fault = Fault(Kind.PART, method="POST", slot="spare", status=status)
    world.add_fault("rack-node", fault)
    error, state = spoken(world, *SEVERAL)
    assert isinstance(error, PartlyRefused)
    assert set(error.refused) == {"spare"}
    assert isinstance(error.refused["spare"], kind)
    assert "not now" in error.refused["spare"].said
    assert on(state) == {"Spare"}
    assert state.sources["Third"].groups == (OTHER,)


def test_what_can_not_be_said_is_left_out() -> None:
    """It is refused here, and the others are sent."""
    world = a_world()
    error, state = spoken(world, replace(disable("Nobody"), id="none"), *SEVERAL)
    assert isinstance(error, PartlyRefused)
    assert {name: type(one) for name, one in error.refused.items()} == {"none": Rejected}
    assert on(state) == set()


def test_what_is_so_already_is_not_sent() -> None:
    """An activation may interrupt a stream; if nothing is left, there is no request."""
    world = a_world()
    spoken(world, *SEVERAL)
    before = len(sent(world))
    assert spoken(world, *SEVERAL)[0] is None
    assert len(sent(world)) == before


@pytest.mark.parametrize("habits", [(), ("slashed",)])
def test_a_node_without_bulk_requests_gets_each_apart(habits: tuple[str, ...]) -> None:
    """Whoever does not list them, with or without a slash at the end, takes each alone."""
    world = a_world("no-bulk", *habits)
    error, state = spoken(world, *SEVERAL)
    assert error is None
    assert on(state) == set()
    assert [path.rpartition("/")[2] for path in sent(world)] == ["staged"] * 3


def test_a_redirect_to_the_slash_is_followed_when_the_list_is_read() -> None:
    """And the request itself goes without one, as the standard writes it."""
    world = a_world("slashed")
    assert spoken(world, *SEVERAL)[0] is None
    assert sent(world) == [f"{BASE}/bulk/senders"]


def test_a_node_that_lists_bulk_requests_and_takes_none() -> None:
    """501 says that nothing was done; each goes alone then, and no further try is made."""
    world = a_world()
    fault = Fault(Kind.ERROR, method="POST", status=501, always=True)
    world.add_fault("rack-node", fault)
    error, state = spoken(world, *SEVERAL)
    assert (error, on(state)) == (None, set())
    assert len(sent(world)) == 1 + 3


def test_apart_each_has_its_own_fate() -> None:
    """Refused ones are told; a node that goes away in between is told for all that is left."""
    world = a_world("no-bulk")
    world.add_fault("rack-node", Fault(Kind.BUSY, method="PATCH", status=423))
    error, state = spoken(world, *SEVERAL)
    assert isinstance(error, PartlyRefused)
    assert {name: type(one) for name, one in error.refused.items()} == {"off": Busy}
    assert on(state) == {"PGM"}
    world = a_world("no-bulk")
    world.add_fault("rack-node", Fault(Kind.REFUSE, method="PATCH", nth=2, seconds=1e9))
    error, _ = spoken_without_a_look(world, *SEVERAL)
    assert isinstance(error, PartlyRefused)
    assert {name: type(one) for name, one in error.refused.items()} == {
        "spare": Unreachable,
        "moved": Unreachable,
    }


def spoken_without_a_look(world: World, *steps: Step) -> tuple[DeviceError | None, None]:
    """The same, where nobody answers any more."""
    try:
        return spoken(world, *steps)[0], None
    except DeviceError as error:
        return error, None


def test_nobody_there_and_no_answer() -> None:
    """Unreachable: none of it was done. Without an answer nobody knows of any."""
    world = a_world()
    world.add_fault("rack-node", Fault(Kind.BUSY, method="POST", status=503))
    error, state = spoken(world, *SEVERAL)
    assert (type(error), on(state)) == (Busy, {"PGM", "Spare"})
    world.add_fault("rack-node", Fault(Kind.DROP_ANSWER, method="POST"))
    error, state = spoken(world, *SEVERAL)
    assert (type(error), on(state)) == (OutcomeUnknown, set())


@needs_schemas
def test_the_bodies_conform() -> None:
    """Of senders and of receivers, with all that a write may carry."""
    held = answers() | {f"{BASE}/bulk": ["senders/", "receivers/"]}
    held |= {
        f"{BASE}/single/senders/{SENDERS[1]}/{what}": sending(leg("239.194.1.156"), on=False)
        for what in ("active", "staged")
    }
    for steps, kind in (
        ((disable(), replace(enable("Spare"), id="s2")), "sender"),
        ((renumber(456, OTHER), replace(enable("Spare"), id="s2")), "sender"),
        ((repoint(OTHER),), "receiver"),
        ((repoint(None),), "receiver"),
    ):
        nmos = Nmos(PARTY, CHART)
        place, _ = played(nmos.bulk(steps), answer_by(held))
        assert place == Place(f"{BASE}/bulk/{kind}s", 8088)
        (request,) = _posted(nmos, place, steps, held)
        conforms(request.body, "is-05", f"bulk-{kind}-post-schema")


def _posted(nmos: Nmos, place: Place, steps: Sequence[Step], held: Any) -> list[Request]:
    asked: list[Request] = []

    def answer(request: Request) -> Response:
        asked.append(request)
        if request.reads:
            return answer_by(held)(request)  # type: ignore[no-any-return]
        body = [{"id": part["id"], "code": 200} for part in request.body]
        return Response(status=200, body=json.dumps(body).encode())

    played(nmos.write_all(place, steps, [None] * len(steps)), answer)
    return [one for one in asked if not one.reads]


def test_streams_of_two_apis_do_not_go_together() -> None:
    """A node may manage each of its devices at another place."""
    other = "99999999-ca4c-43fd-880a-9df2af5d5d94"
    held = answers() | {f"{BASE}/bulk": ["senders/"]}
    devices = held["/x-nmos/node/v1.3/devices"]
    control = {**devices[0]["controls"][0], "href": f"http://{ADDRESS}:8089{BASE}/"}
    devices.append({"id": other, "controls": [control]})
    held["/x-nmos/node/v1.3/senders"][1]["device_id"] = other
    steps = (disable(), disable("Spare"))
    assert played(Nmos(PARTY, CHART).bulk(steps), answer_by(held))[0] is None


@pytest.mark.parametrize("listing", [None, {}, [], ["receivers/"], [7], "senders/"], ids=str)
def test_what_is_not_listed_is_not_offered(listing: Any) -> None:
    """Whatever stands there."""
    assert not bulk.offered(listing, "senders")
    assert bulk.offered(["receivers", "senders"], "senders")


@pytest.mark.parametrize("body", [b"", b"{}", b'"ok"', b"null", b"[" * 100_000])
def test_an_answer_that_is_no_list_says_nothing_of_any(body: bytes) -> None:
    """So all of them are looked at."""
    with pytest.raises(OutcomeUnknown):
        bulk.refused(Response(status=200, body=body), PARTS, PARTY)


@pytest.mark.parametrize(
    "entries",
    [
        [{"id": "id-b", "code": 200}],
        [{"id": "id-a"}, {"id": "id-b", "code": 200}],
        [{"id": "id-a", "code": "200"}, {"id": "id-b", "code": 200}],
        [{"id": "id-a", "code": True}, {"id": "id-b", "code": 200}],
        [{"id": "id-a", "code": 200}, {"id": "ID-A", "code": 400}, {"id": "id-b", "code": 200}],
        [7, {"id": 7, "code": 200}, {"id": "id-b", "code": 202}],
    ],
)
def test_of_what_is_not_named_just_once_nobody_knows(entries: list[Any]) -> None:
    """The others have their own status."""
    answer = Response(status=200, body=json.dumps(entries).encode())
    found = bulk.refused(answer, PARTS, PARTY)
    assert {step: type(error) for step, error in found.items()} == {"a": OutcomeUnknown}


def test_a_receiver_and_its_ids() -> None:
    """Ids are compared in small letters, as the standard writes them."""
    answer = Response(status=200, body=json.dumps([{"id": RECEIVER, "code": 404}]).encode())
    (error,) = bulk.refused(answer, [bulk.Part("r", "x", RECEIVER.upper(), {})], PARTY).values()
    assert (type(error), error.said) == (Rejected, '404: {"id": "' + RECEIVER + '", "code": 404}')


def test_the_traits_say_which_go_together() -> None:
    """Steps of senders in one, of receivers in another; at most 64."""
    kinds = [sorted(batch.kinds) for batch in TRAITS.batches]
    assert kinds == [["disable", "enable", "renumber"], ["repoint"]]
    assert {batch.most for batch in TRAITS.batches} == {bulk.MOST}
