"""What a real, independent NMOS node was seen to do, on loopback, and the dialect bears.

Observations of one such node, in an exercise of our own; no published source.
"""

import asyncio
import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any, ClassVar

import httpx
import pytest

from mocks.faults import Fault, Kind
from mocks.in_memory import InMemory
from mocks.messages import Request as MockRequest
from mocks.nmos.habits import Habit
from mocks.nmos.node import Nmos as MockNode
from mocks.server import serve
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.nmos.dialect import Nmos
from orchestrator.adapters.nmos.stage import Told
from orchestrator.adapters.open import make_opener
from orchestrator.errors import OutcomeUnknown, Rejected
from orchestrator.facility.found import DeviceState
from tests.adapters.makes import played
from tests.adapters.nmos.test_dialect import PLAN, no_secrets
from tests.adapters.nodes import ADDRESS, CHART, OTHER, PARTY, disable, enable, renumber, repoint
from tests.mocks.nodes import NOW, SINGLE, a_node, a_world, ask, place, staging

NODE_API = "/x-nmos/node/v1.3"


def with_habits(*habits: Habit, legs: int = 1) -> MockNode:
    """The usual node, with some habits."""
    node = a_node(legs=legs)
    node.keep(node.memory.running.with_kept("habits", [str(one) for one in habits]))
    return node


def answering(node: MockNode, sent: list[Request] | None = None) -> Callable[[Request], Response]:
    """Answers as the node does, headers and all."""

    def answer(request: Request) -> Response:
        if sent is not None:
            sent.append(request)
        body = b"" if request.body is None else json.dumps(request.body).encode()
        headers = {"host": f"{ADDRESS}:{request.port or 80}", "accept": "application/json"}
        headers |= {"content-type": request.content_type} if body else {}
        headers |= {name.lower(): value for name, value in request.headers}
        found = node.handle(MockRequest(request.method, request.path, headers, body))
        if found.status >= 300 and found.status not in request.also_fine:
            raise AssertionError((request.method, request.path, found.status, found.body))
        return Response(status=found.status, headers=dict(found.headers), body=found.body)

    return answer


def read(node: MockNode) -> DeviceState:
    """Its state."""
    state, _ = played(Nmos(PARTY, CHART).read(), answering(node))
    return state


def told(node: MockNode, source: str = "PGM") -> Told | None:
    """How it describes a sender."""
    found, _ = played(Nmos(PARTY, CHART).told(source), answering(node))
    return found


def test_lists_in_any_order_are_the_same_state() -> None:
    """Seen: lists are unsorted, and each name in them ends in a slash."""
    assert read(with_habits(Habit.UNSORTED)) == read(a_node())
    listed = ask(a_node(), "GET", f"{SINGLE}/senders").json
    assert all(name.endswith("/") for name in listed)
    assert ask(with_habits(Habit.UNSORTED), "GET", f"{SINGLE}/senders").json == listed[::-1]


def test_both_forms_of_a_path_and_no_double_slash() -> None:
    """Seen: with and without a slash at the end, both 200; two slashes are 404."""
    node = a_node()
    where = place(node, "senders", "PGM")
    for form, status in (("", 200), ("/", 200), ("//", 404)):
        assert ask(node, "GET", f"{where}/active{form}").status == status
    sent: list[Request] = []
    for step in (disable(), renumber(456, OTHER), repoint(OTHER), enable()):
        played(Nmos(PARTY, CHART).write(step), answering(node, sent))
    assert not [one.path for one in sent if "//" in one.path]
    assert not [one.path for one in sent if not one.reads and one.path.endswith("/")]


def test_a_node_that_moves_a_path_to_its_form_with_a_slash() -> None:
    """Seen: 301 on a GET."""
    node = with_habits(Habit.SLASHED)
    assert ask(node, "GET", f"{NODE_API}/self").status == 301
    assert read(node) == read(a_node())


def test_an_answer_in_many_small_parts() -> None:
    """Seen: headers and body in separate TCP segments, and never a 100 Continue."""
    world = a_world()
    world.add_fault("node", Fault(Kind.TRICKLE, seconds=0.05, always=True))

    async def whole(connect: Any) -> DeviceState:
        opener = make_opener(PLAN, {}, no_secrets, connect, patience=Patience(attempts=1))
        adapter = opener("node", ADDRESS)
        try:
            await adapter.write(disable("air"))
            return await adapter.read()
        finally:
            await adapter.close()

    with serve(world, connect_map=True) as running:
        state = asyncio.run(whole(running.connect_map))
    assert not state.sources["air"].enabled


def test_what_is_sent_is_json_and_says_so() -> None:
    """Seen: another Content-Type is 400, not 415."""
    node = a_node()
    where = place(node, "senders", "PGM")
    headers = {"host": ADDRESS, "content-type": "text/plain"}
    assert node.handle(MockRequest("PATCH", f"{where}/staged", headers, b"{}")).status == 400
    sent: list[Request] = []
    played(Nmos(PARTY, CHART).write(disable()), answering(node, sent))
    assert sent[-1].content_type == "application/json"


class Conflicting(InMemory):
    """Answers each PATCH with a conflict that leads elsewhere, and remembers what was asked."""

    asked: ClassVar[list[str]] = []

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Answer, or say where else to ask."""
        self.asked.append(request.url.path)
        if request.method != "PATCH":
            return await super().handle_async_request(request)
        there = {"location": "/x-nmos/connection/v1.2/single/senders/"}
        body = {"code": 409, "error": "Conflict", "debug": "ask v1.2"}
        return httpx.Response(409, headers=there, json=body)


def test_a_conflict_is_told_and_its_location_not_followed() -> None:
    """Seen: 409 with a Location, where this version of the API can not tell of a sender."""
    network = Conflicting(a_world())
    network.asked.clear()

    async def once() -> None:
        plan = replace(PLAN, devices={"node": replace(PLAN.devices["node"], port=8080)})
        adapter = make_opener(plan, {}, no_secrets, {}, network=network)("node", ADDRESS)
        await adapter.write(disable("air"))

    with pytest.raises(Rejected) as why:
        asyncio.run(once())
    assert (why.value.status, why.value.said) == (409, "409: Conflict: ask v1.2")
    assert not [path for path in network.asked if "v1.2" in path]
    assert network.asked[-1].endswith("/staged")


def test_a_description_is_asked_for_as_sdp() -> None:
    """Seen: for a client that takes JSON it may be turned into JSON."""
    node = with_habits(Habit.FILE_AS_JSON)
    where = f"{place(node, 'senders', 'PGM')}/transportfile"
    json_only = {"host": ADDRESS, "accept": "application/json"}
    assert node.handle(MockRequest("GET", where, json_only)).body.startswith(b"{")
    found = told(node)
    assert found is not None
    assert found.text is not None
    assert found.text.startswith("v=0\r\n")


@pytest.mark.parametrize(("habits", "described"), [((), True), ((Habit.NO_FILE_WHILE_OFF,), False)])
def test_a_description_while_the_sender_is_off(habits: tuple[Habit, ...], described: bool) -> None:  # noqa: FBT001
    """Seen: still there (200); the standard allows 404, and then nothing is told."""
    node = with_habits(*habits)
    staging(node, place(node, "senders", "PGM"), {"master_enable": False, "activation": NOW})
    assert (told(node) is not None) is described


def test_a_sender_that_was_never_activated() -> None:
    """Seen: auto stands in what is active, and no description is there (404): it has no group."""
    node = with_habits(Habit.UNRESOLVED)
    active = ask(node, "GET", f"{place(node, 'senders', 'Spare')}/active").json
    assert active["transport_params"][0]["destination_ip"] == "auto"
    assert read(node).sources["Spare"].groups == (None,)
    assert told(node, "Spare") is None
    played(Nmos(PARTY, CHART).write(renumber(456, OTHER, source="Spare")), answering(node))
    assert read(node).sources["Spare"].groups == (OTHER,)


@pytest.mark.parametrize("legs", [1, 2])
def test_what_was_read_is_not_sent_back_whole(legs: int) -> None:
    """Seen: activation_time is refused in a PATCH, and too few entries in transport_params too."""
    node = a_node(legs=legs)
    where = place(node, "senders", "PGM")
    assert staging(node, where, ask(node, "GET", f"{where}/staged").json).status == 400
    assert staging(node, where, {"transport_params": [{}] * (legs + 1)}).status == 400
    sent: list[Request] = []
    for step in (disable(), renumber(456, *(OTHER,) * legs), repoint(OTHER), enable()):
        played(Nmos(PARTY, CHART).write(step), answering(node, sent))
    bodies = [one.body for one in sent if not one.reads]
    assert len(bodies) == 4
    assert all(body["activation"] == NOW for body in bodies)
    assert {len(body.get("transport_params", [0] * legs)) for body in bodies} == {legs}


def test_when_another_hand_lets_go_of_its_schedule() -> None:
    """Seen: 423 to every PATCH until it is cancelled by mode null; the tool never cancels it."""
    node = a_node()
    where = place(node, "senders", "PGM")
    later = {"mode": "activate_scheduled_relative", "requested_time": "60:0"}
    assert staging(node, where, {"activation": later}).status == 202
    assert staging(node, where, {"master_enable": False, "activation": NOW}).status == 423
    assert staging(node, where, {"activation": {"mode": None}}).status == 200
    played(Nmos(PARTY, CHART).write(disable()), answering(node))
    assert not read(node).sources["PGM"].enabled


def test_many_activations_at_once_are_all_done() -> None:
    """Seen: eight at once were done one after the other, all 200, without a 423."""
    node = a_node()
    where = place(node, "senders", "PGM")
    found = [
        staging(node, where, {"master_enable": on, "activation": NOW}).status
        for on in (False, True) * 4
    ]
    assert found == [200] * 8


def test_a_description_that_a_receiver_can_not_read() -> None:
    """Seen: 500 rather than 400. A write that fails so may have landed: the run reads then."""
    node = with_habits(Habit.BAD_FILE_IS_500)
    file = {"data": "v=0\r\nnonsense", "type": "application/sdp"}
    where = place(node, "receivers", "MON")
    found = staging(node, where, {"transport_file": file, "activation": NOW})
    assert (found.status, found.json["code"]) == (500, 500)
    world = a_world()
    world.add_fault("node", Fault(Kind.ERROR, method="PATCH"))

    async def once(connect: Any) -> None:
        opener = make_opener(PLAN, {}, no_secrets, connect, patience=Patience(attempts=1))
        adapter = opener("node", ADDRESS)
        try:
            await adapter.write(repoint(OTHER, "MON"))
        finally:
            await adapter.close()

    with serve(world, connect_map=True) as running, pytest.raises(OutcomeUnknown):
        asyncio.run(once(running.connect_map))


def test_two_descriptions_may_carry_one_version() -> None:
    """Seen: o= counts seconds, so two texts of one second have the same; nothing is told by it."""
    node = a_node()
    where = place(node, "senders", "PGM")
    texts = []
    for group in ("239.194.1.201", "239.194.1.202"):
        body = {"transport_params": [{"destination_ip": group}], "activation": NOW}
        assert staging(node, where, body, 7.25).status == 200
        found = told(node)
        assert found is not None
        texts.append(str(found.text))
    origins = {next(line for line in text.split("\r\n") if line.startswith("o=")) for text in texts}
    assert len(origins) == 1
    assert texts[0] != texts[1]


def test_times_are_not_padded() -> None:
    """Seen: TAI seconds:nanoseconds without leading zeros; they are no decimal fraction."""
    node = a_node()
    where = place(node, "senders", "PGM")
    done = staging(node, where, {"activation": NOW}, 7.000000250).json
    assert done["activation"]["activation_time"] == "7:250"
