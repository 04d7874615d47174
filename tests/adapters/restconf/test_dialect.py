import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from mocks.restconf.errors import Refused
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.adapters.restconf.dialect import TRAITS, Restconf
from orchestrator.errors import Broken, Busy, OtherHand, Rejected
from orchestrator.facility.found import Identity, InterfaceState
from orchestrator.facility.plan import Interface
from orchestrator.facility.step import AddressValue, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.running.protocols import Part
from tests.adapters.hosts import (
    ADDRESS,
    GATEWAY,
    PARTY,
    a_world,
    answer_of,
    refusing,
    server_of,
)
from tests.adapters.makes import K, a_step, answered, played

PLANNED = (Interface("main", "media", ADDRESS),)
NEW = "127.44.3.72"
FAR = AddressValue("main", "127.45.3.72", 24, "127.45.3.254")
ROOT = "/top/restconf"
IPV4 = f"{ROOT}/data/ietf-interfaces:interfaces/interface=eth0/ietf-ip:ipv4"


def talk(*, alone: bool = True) -> Restconf:
    """A fresh dialect."""
    return Restconf(PARTY, PLANNED, alone=alone)


def readdress(
    wanted: AddressValue | None = None, found: AddressValue | None = None, **more: Any
) -> Any:
    """A step to another address of the same link, unless another is given."""
    step = a_step(K.READDRESS, wanted or AddressValue("main", NEW, 24, GATEWAY), **more)
    return dataclasses.replace(step, as_found=found or AddressValue("main", ADDRESS, 24, GATEWAY))


def test_it_finds_the_root_and_reads_who_and_where_the_device_is() -> None:
    """By host-meta first; then identity, interfaces and gateway, each by its module."""
    state, asked = played(talk().read(), answer_of(server_of(a_world())))
    assert state.identity == Identity(serial="SW-7", model="SH-1", firmware="1.0")
    assert state.interfaces == {"main": InterfaceState(address=ADDRESS, prefix=24, gateway=GATEWAY)}
    assert [request.path for request in asked] == [
        "/.well-known/host-meta",
        f"{ROOT}/data/ietf-hardware:hardware",
        f"{ROOT}/data/ietf-interfaces:interfaces",
        f"{ROOT}/data/ietf-routing:routing/control-plane-protocols",
    ]
    assert all(dict(request.headers)["Accept"] for request in asked)


def test_a_part_that_is_not_asked_for_costs_nothing() -> None:
    """The root is remembered too."""
    dialect, answer = talk(), answer_of(server_of(a_world()))
    played(dialect.identify(), answer)
    state, asked = played(dialect.read(frozenset({Part.SOURCES})), answer)
    assert (state.interfaces, state.sources) == ({}, {})
    assert [request.path for request in asked] == [f"{ROOT}/data/ietf-hardware:hardware"]


@pytest.mark.parametrize("json_there", [True, False])
def test_the_root_is_looked_for_where_it_can_be(json_there: bool) -> None:  # noqa: FBT001
    """XRD, then its JSON form, then the usual place."""
    seen: list[str] = []

    def answer(request: Request) -> Response:
        seen.append(request.path)
        if request.path == "/.well-known/host-meta.json" and json_there:
            links = {"links": [{"rel": "restconf", "href": "/api"}]}
            found = answered(links)
            return dataclasses.replace(found, headers={"content-type": "application/json"})
        if "host-meta" in request.path:
            assert 404 in request.also_fine
            return Response(status=404)
        return answered({"ietf-hardware:hardware": {"component": [CHASSIS]}})

    identity, _ = played(talk().identify(), answer)
    assert identity.serial == "SW-7"
    root = "/api" if json_there else "/restconf"
    assert seen == [
        "/.well-known/host-meta",
        "/.well-known/host-meta.json",
        f"{root}/data/ietf-hardware:hardware",
    ]


CHASSIS = {"name": "f", "class": "iana-hardware:chassis", "serial-num": "SW-7", "model-name": "S"}


def test_a_server_that_can_not_tell_who_it_is_is_of_no_use_alone() -> None:
    """Nothing is written before a device has proved who it is; beside another way that may."""
    server = server_of(a_world())
    server.tells_hardware = False
    with pytest.raises(Broken, match="tells no serial"):
        played(talk().identify(), answer_of(server))
    identity, _ = played(talk(alone=False).identify(), answer_of(server))
    assert identity.serial == ""


def test_a_server_that_models_no_routing_shows_no_gateway() -> None:
    """Its address can be read, and moved, all the same."""
    server = server_of(a_world())
    server.tells_routing = False
    state, _ = played(talk().read(), answer_of(server))
    assert state.interfaces["main"].gateway is None
    found = AddressValue("main", ADDRESS, 24, None)
    _, asked = played(talk().write(readdress(found=found)), answer_of(server))
    assert asked[-1].method == "PUT"


def test_a_readdress_puts_the_whole_container_under_its_tag() -> None:
    """One write, the last request; all else that the container held goes back (RFC 8040, 4.5)."""
    world = a_world()
    answer = answer_of(server_of(world))
    tags: list[str] = []

    def noted(request: Request) -> Response:
        response = answer(request)
        tags.append(response.headers.get("etag", ""))
        return response

    _, asked = played(talk().write(readdress()), noted)
    read, write = asked[-2:]
    assert (read.method, read.path) == ("GET", f"{IPV4}?content=config")
    assert (write.method, write.path) == ("PUT", IPV4)
    assert write.content_type == "application/yang-data+json"
    assert dict(write.headers)["If-Match"] == tags[-2]
    held = write.body["ietf-ip:ipv4"]
    assert held["address"] == [{"ip": NEW, "prefix-length": 24}]
    assert (held["mtu"], held["forwarding"]) == (1500, False)
    assert [request.reads for request in asked[:-1]] == [True] * (len(asked) - 1)
    pending = world.machine("rack-node").memory.pending
    assert pending is not None
    assert (pending.address, pending.gateway) == (NEW, GATEWAY)


def test_an_address_and_its_gateway_go_in_one_yang_patch() -> None:
    """On the datastore, under the datastore's tag; done whole or not at all (RFC 8072)."""
    world = a_world()
    _, asked = played(talk().write(readdress(FAR)), answer_of(server_of(world)))
    assert [request.method for request in asked[-5:]] == ["OPTIONS", "HEAD", "GET", "GET", "PATCH"]
    write = asked[-1]
    assert (write.path, write.content_type) == (f"{ROOT}/data", "application/yang-patch+json")
    assert dict(write.headers)["If-Match"].startswith('"')
    pending = world.machine("rack-node").memory.pending
    assert pending is not None
    assert (pending.address, pending.gateway) == (FAR.address, FAR.gateway)


def test_a_gateway_that_can_not_go_along_is_not_left_behind() -> None:
    """Refused before anything is sent: an address with the gateway of another link is cut off."""
    server = server_of(a_world())
    server.takes_yang_patch = False
    with pytest.raises(Rejected, match="takes no YANG Patch"):
        played(talk().write(readdress(FAR)), answer_of(server))
    away = AddressValue("main", "127.45.3.72", 24, None)
    with pytest.raises(Rejected, match="gateway would be left behind"):
        played(talk().write(readdress(away)), answer_of(server))


def test_what_another_hand_has_changed_is_not_overwritten() -> None:
    """The address, before our read; anything else of the container, between read and write."""
    server = server_of(a_world())
    moved = AddressValue("main", "127.44.3.99", 24, GATEWAY)
    with pytest.raises(OtherHand, match=r"127\.44\.3\.99 is not among"):
        played(talk().write(readdress(found=moved)), answer_of(server))
    gone = AddressValue("main", ADDRESS, 24, "127.44.3.200")
    with pytest.raises(OtherHand, match="0 static default routes"):
        played(talk().write(readdress(FAR, found=gone)), answer_of(server))

    def meddle(request: Request, response: Response) -> Response:
        if request.path.endswith("?content=config"):
            headers = {**response.headers, "etag": '"older"'}
            return dataclasses.replace(response, headers=headers)
        return response

    world = a_world()
    with pytest.raises(AssertionError, match="it is not what was read"):  # 412: see answers
        played(talk().write(readdress()), answer_of(server_of(world), meddle))
    assert world.machine("rack-node").memory.pending is None


def test_a_lock_is_waited_for_and_another_conflict_is_not() -> None:
    """Both are 409; the error's tag tells (RFC 8040, 7), and its words are passed on."""
    server = server_of(a_world())
    server.locked_by = "session 7"
    with pytest.raises(Busy, match="session 7 has locked it"):
        played(talk().write(readdress()), answer_of(server))
    server.locked_by = ""
    exists = Refused("data-exists", "no").response.json
    with pytest.raises(Rejected, match="data-exists"):
        played(talk().write(readdress()), refusing(server, "PUT", 409, exists))
    with pytest.raises(Rejected, match="409"):
        played(talk().write(readdress()), refusing(server, "PUT", 409, "odd"))


def test_a_patch_that_was_answered_with_errors_is_not_done() -> None:
    """A status may hold errors, whatever the number before it (RFC 8072, 2.3)."""
    error = {"error": [{"error-type": "application", "error-tag": "invalid-value"}]}
    status = {"ietf-yang-patch:yang-patch-status": {"patch-id": "readdress", "errors": error}}
    server = server_of(a_world())
    with pytest.raises(Rejected, match="invalid-value"):
        played(talk().write(readdress(FAR)), refusing(server, "PATCH", 200, status))


@pytest.mark.parametrize("tag", ["", 'W/"weak"'])
def test_a_server_without_a_usable_tag_is_written_to_without(tag: str) -> None:
    """What was read is compared all the same; a weak tag in If-Match would never be true."""

    def untagged(_request: Request, response: Response) -> Response:
        headers = {name: value for name, value in response.headers.items() if name != "etag"}
        return dataclasses.replace(response, headers={**headers, **({"etag": tag} if tag else {})})

    answer = answer_of(server_of(a_world()), untagged)
    _, asked = played(talk().write(readdress()), answer)
    assert "If-Match" not in dict(asked[-1].headers)


@pytest.mark.parametrize("kind", sorted(TRAITS.cannot))
def test_what_the_modules_do_not_know_is_refused_with_the_traits_words(kind: StepKind) -> None:
    """And nothing is sent."""
    step = a_step(kind, source="x")
    with pytest.raises(Rejected) as caught:
        played(talk().write(step), lambda _: Response(status=500))
    assert caught.value.said == TRAITS.cannot[kind]


def test_an_interface_that_it_does_not_have_is_refused() -> None:
    """Named as the plan would."""
    step = readdress(AddressValue("red", NEW, 24, GATEWAY))
    with pytest.raises(Rejected, match="no interface 'red'"):
        played(talk().write(step), answer_of(server_of(a_world())))


def test_nonsense_is_told_as_such() -> None:
    """Bodies that are no JSON, or of another shape."""
    for body in (b"<p>hello", b'{"ietf-hardware:hardware": {"component": 7}}'):
        with pytest.raises(Broken):
            played(talk().identify(), _plainly(body))


def _plainly(body: bytes) -> Callable[[Request], Response]:
    def answer(request: Request) -> Response:
        missing = "host-meta" in request.path
        return Response(status=404) if missing else Response(status=200, body=body)

    return answer


def test_its_traits_say_that_an_edit_is_kept_at_once() -> None:
    """RFC 8040, 1.4: a power cycle brings nothing back, so no save is needed, or possible."""
    assert talk().traits is TRAITS
    assert TRAITS.saves is Saves.AT_ONCE
    assert set(StepKind) == TRAITS.can | set(TRAITS.cannot)
    assert TRAITS.settle_s > 7  # RFC 5227: up to 7 s until a new address is announced
