import json
from typing import Any

import pytest

from mocks.clock import HandClock
from mocks.load import WorldError
from mocks.messages import Activate, Request, Settle
from mocks.nmos.node import Nmos
from mocks.referee import Referee
from mocks.state import Lan
from mocks.world import World
from tests.amwa import conforms, needs_schemas
from tests.mocks.nodes import (
    ADDRESS,
    GROUP,
    NOW,
    OTHER,
    SECOND,
    WORLD,
    a_node,
    a_world,
    ask,
    legs_of,
    place,
    staging,
)

BULK = "/x-nmos/connection/v1.1/bulk"
TO = {"destination_ip": "239.194.1.200", "destination_port": 5004}
SDP = (
    "v=0\r\no=- 1 1 IN IP4 192.0.2.20\r\ns=PGM\r\nt=0 0\r\nm=audio 5004 RTP/AVP 98\r\n"
    "c=IN IP4 239.194.1.200/32\r\na=source-filter: incl IN IP4 239.194.1.200 192.0.2.20\r\n"
)


def relative(seconds: int) -> dict[str, str]:
    """An activation in some seconds."""
    return {"mode": "activate_scheduled_relative", "requested_time": f"{seconds}:0"}


def test_an_immediate_activation() -> None:
    """What was asked for is active at once, and stands in the state common to all makes."""
    node = a_node()
    where = place(node, "senders", "PGM")
    body = {"master_enable": False, "transport_params": [TO], "activation": NOW}
    found = staging(node, where, body, at=3.5).json
    done = {"mode": "activate_immediate", "requested_time": None, "activation_time": "3:500000000"}
    assert found["activation"] == done
    assert ask(node, "GET", f"{where}/active").json["activation"] == done
    assert ask(node, "GET", f"{where}/staged").json["activation"]["mode"] is None
    (leg,) = legs_of(node, where)
    assert (leg["destination_ip"], leg["source_ip"]) == ("239.194.1.200", ADDRESS)
    source = node.memory.saved.sources["program"]
    assert (source.number, source.group, source.enabled) == (0, OTHER, False)


def test_staging_alone_changes_nothing() -> None:
    """It merges into what is staged, and waits."""
    node = a_node()
    where = place(node, "senders", "PGM")
    assert staging(node, where, {"master_enable": False}).status == 200
    assert staging(node, where, {"transport_params": [TO]}).status == 200
    assert node.memory.running.sources["program"].group == GROUP
    assert staging(node, where, {"activation": NOW}).json["master_enable"] is False
    source = node.memory.running.sources["program"]
    assert (source.group, source.enabled) == (OTHER, False)


def test_a_scheduled_activation() -> None:
    """It is accepted (202), locks what is staged (423), and happens when it is due."""
    node = a_node()
    where = place(node, "senders", "PGM")
    response = staging(node, where, {"transport_params": [TO], "activation": relative(2)}, at=1.0)
    assert response.status == 202
    assert response.json["activation"] == {**relative(2), "activation_time": "3:0"}
    (later,) = response.later
    assert later.after_s == 2.0
    assert staging(node, where, {"master_enable": False}).status == 423
    assert staging(node, where, {"activation": NOW}).status == 423
    assert node.memory.running.sources["program"].group == GROUP
    node.perform(later.act)
    assert node.memory.running.sources["program"].group == OTHER
    assert ask(node, "GET", f"{where}/staged").json["activation"]["mode"] is None


def test_a_schedule_can_be_taken_back() -> None:
    """By mode null, in a request that may stage something too; the old one is void then."""
    node = a_node()
    where = place(node, "senders", "PGM")
    response = staging(node, where, {"transport_params": [TO], "activation": relative(2)})
    found = staging(node, where, {"master_enable": False, "activation": {"mode": None}})
    assert (found.status, found.json["master_enable"]) == (200, False)
    node.perform(response.later[0].act)
    node.perform(Activate("senders/spare", "1:0"))
    assert node.memory.running.sources["program"].group == GROUP


def test_an_absolute_time_is_atomic_time() -> None:
    """The mount says what its clock is in TAI; what is past happens at once."""
    node = a_node()
    node.tai_at_zero = 1000.0
    where = place(node, "senders", "PGM")
    for time, after in (("1007:0", 2.0), ("900:0", 0.0)):
        mode = {"mode": "activate_scheduled_absolute", "requested_time": time}
        response = staging(node, where, {"activation": mode}, at=5.0)
        assert (response.status, response.later[0].after_s) == (202, after)
        assert response.json["activation"]["activation_time"] == time
        staging(node, where, {"activation": {"mode": None}})


def test_a_world_in_real_time_knows_it() -> None:
    """TAI is 37 s ahead of UTC; a world with a clock of its own starts at zero."""
    device = World.from_text(WORLD.format(address=ADDRESS, group=GROUP, more="")).machine("node")
    assert device.tai_at_zero > 1_700_000_000
    assert a_node().tai_at_zero == 0.0


def test_auto_is_resolved_when_it_is_activated() -> None:
    """The staged value stays auto; two senders never take one group."""
    node = a_node()
    groups = set()
    for label in ("PGM", "Spare"):
        where = place(node, "senders", label)
        auto = {"transport_params": [{"destination_ip": "auto"}], "activation": NOW}
        assert staging(node, where, auto).status == 200
        assert legs_of(node, where, "staged")[0]["destination_ip"] == "auto"
        groups.add(legs_of(node, where)[0]["destination_ip"])
    assert groups == {"239.255.41.1", "239.255.41.2"}


def test_a_sender_that_the_world_gives_no_group_takes_one() -> None:
    """The node resolves auto by itself from the start; a number it has not."""
    source = a_node().memory.saved.sources["spare"]
    assert (source.number, source.group, source.enabled) == (0, "239.255.41.2:5004", False)


def test_a_receiver_reads_a_transport_file() -> None:
    """It takes group, port and sender's address from it; its own parameters win."""
    node = a_node()
    where = place(node, "receivers", "codec")
    file = {"data": SDP, "type": "application/sdp"}
    body = {"transport_file": file, "master_enable": True, "activation": NOW}
    assert staging(node, where, body).status == 200
    (leg,) = legs_of(node, where)
    assert (leg["multicast_ip"], leg["source_ip"]) == ("239.194.1.200", "192.0.2.20")
    assert node.memory.running.destinations["codec"].group == OTHER
    assert ask(node, "GET", f"{where}/active").json["transport_file"] == file


def test_a_file_for_one_leg_leaves_the_other_off() -> None:
    """A receiver with two legs."""
    node = a_node(legs=2)
    where = place(node, "receivers", "codec")
    body = {"transport_file": {"data": SDP, "type": "application/sdp"}, "activation": NOW}
    staging(node, where, body)
    assert [leg["rtp_enabled"] for leg in legs_of(node, where)] == [True, False]


@pytest.mark.parametrize(
    "body",
    [
        [],
        {"label": "x"},
        {"transport_params": []},
        {"transport_params": [{"destination_ip": "x"}]},
        {"transport_file": {"data": None, "type": None}},
        {"activation": {"mode": "activate_scheduled_relative"}},
    ],
)
def test_bad_requests(body: Any) -> None:
    """They change nothing, not even what is staged."""
    node = a_node()
    where = place(node, "senders", "PGM")
    before = node.memory
    response = staging(node, where, body)
    assert response.status == response.json["code"] == 400
    assert response.json["debug"]
    assert node.memory == before


@pytest.mark.parametrize(
    "file",
    [
        {"data": "nonsense", "type": "application/sdp"},
        {"data": SDP, "type": "text/plain"},
        {"data": SDP.replace("239.194.1.200/32", "192.0.2.9"), "type": "application/sdp"},
    ],
)
def test_bad_files(file: dict[str, str]) -> None:
    """No description, another type, no multicast address."""
    node = a_node()
    where = place(node, "receivers", "MON")
    assert staging(node, where, {"transport_file": file}).status == 400


def test_bodies_that_are_no_json() -> None:
    """Another type, or broken: 400, as real nodes say."""
    node = a_node()
    path = f"{place(node, 'senders', 'PGM')}/staged"
    json_type = {"content-type": "application/json"}
    for headers, body in (({"content-type": "text/plain"}, b"{}"), (json_type, b"{")):
        assert node.handle(Request("PATCH", path, headers, body)).status == 400


def test_bulk() -> None:
    """One answer for each; what can't be done leaves the others done."""
    node = a_node()
    senders = [place(node, "senders", label).rpartition("/")[2] for label in ("PGM", "Spare")]
    body = [
        {"id": senders[0], "params": {"transport_params": [TO], "activation": NOW}},
        {"id": senders[1], "params": {"master_enable": "no"}},
        {"id": "nobody", "params": {}},
    ]
    response = ask(node, "POST", f"{BULK}/senders", body)
    assert response.status == 200
    assert [one["code"] for one in response.json] == [200, 400, 404]
    assert node.memory.running.sources["program"].group == OTHER
    late = [{"id": senders[0], "params": {"activation": relative(1)}}]
    response = ask(node, "POST", f"{BULK}/senders", late)
    assert (response.json, len(response.later)) == ([{"id": senders[0], "code": 202}], 1)
    response = ask(node, "POST", f"{BULK}/senders", late)
    assert [one["code"] for one in response.json] == [423]
    assert ask(node, "POST", f"{BULK}/senders", [*late, *late]).status == 400
    assert ask(node, "OPTIONS", f"{BULK}/senders").status == 200


@needs_schemas
@pytest.mark.parametrize("legs", [1, 2])
def test_the_answers_to_writes_conform(legs: int) -> None:
    """Of staging, of each activation, of bulk requests and of refusals."""
    node = a_node(legs=legs)
    for kind, label, name in (("senders", "PGM", "sender"), ("receivers", "MON", "receiver")):
        where = place(node, kind, label)
        own = where.rpartition("/")[2]
        for body in ({}, {"activation": NOW}, {"activation": relative(2)}):
            conforms(staging(node, where, body).json, "is-05", f"{name}-response-schema")
        conforms(staging(node, where, {}).json, "is-05", "error")
        asked = [{"id": own, "params": {"activation": {"mode": None}}}]
        conforms(asked, "is-05", f"bulk-{name}-post-schema")
        found = ask(node, "POST", f"{BULK}/{kind}", asked).json
        conforms(found, "is-05", "bulk-response-schema")
        found = ask(node, "POST", f"{BULK}/{kind}", [{"id": own, "params": {"x": 1}}]).json
        conforms(found, "is-05", "bulk-response-schema")


def test_methods_and_headers() -> None:
    """Any page may ask it; HEAD has no body, OPTIONS says what may be asked."""
    node = a_node()
    found = ask(node, "GET", "/x-nmos")
    assert dict(found.headers)["access-control-allow-origin"] == "*"
    assert ask(node, "HEAD", "/x-nmos").body == b""
    assert "PATCH" in dict(ask(node, "OPTIONS", "/x-nmos").headers)["access-control-allow-methods"]


def test_it_does_not_sign_in() -> None:
    """A world file gives it no sign-in, and its secret is nowhere."""
    assert a_node().unit.secret == ""


def test_what_a_hand_sets_is_what_the_node_shows() -> None:
    """In staged and active alike."""
    world = a_world(legs=2)
    node = world.machine("node")
    assert isinstance(node, Nmos)
    where = place(node, "senders", "PGM")
    world.another_hand("node").set_source("program", group=OTHER, enabled=False)
    world.another_hand("node").set_destination("codec", group=OTHER)
    for what in ("staged", "active"):
        assert [leg["destination_ip"] for leg in legs_of(node, where, what)] == [
            "239.194.1.200"
        ] * 2
    assert ask(node, "GET", f"{where}/active").json["master_enable"] is False
    codec = place(node, "receivers", "codec")
    assert legs_of(node, codec)[0]["multicast_ip"] == "239.194.1.200"


def test_two_legs_have_an_address_each() -> None:
    """The second from the world file; it stands in the constraints too."""
    node = a_node(legs=2)
    where = place(node, "senders", "PGM")
    assert [leg["source_ip"] for leg in legs_of(node, where)] == [ADDRESS, SECOND]
    limits = ask(node, "GET", f"{where}/constraints").json
    assert [leg["source_ip"] for leg in limits] == [{"enum": [ADDRESS]}, {"enum": [SECOND]}]


def test_the_referee_sees_what_a_node_does() -> None:
    """A group moved while its sender runs breaks H3, as with any make."""
    world = a_world()
    referee = Referee(world)
    node = world.machine("node")
    assert isinstance(node, Nmos)
    where = place(node, "senders", "PGM")
    body = json.dumps({"transport_params": [TO], "activation": NOW}).encode()
    headers = {"content-type": "application/json"}
    begun = world.begin(ADDRESS, Request("PATCH", f"{where}/staged", headers, body))
    assert begun is not None
    world.finish(begun)
    assert [breach.rule for breach in referee.verdict().broken] == ["H3"]


def test_an_address_takes_effect_like_any_makes() -> None:
    """Though no request of the standards asks for one."""
    node = a_node()
    lan = Lan("127.44.3.42", 24)
    node.accept(lan)
    node.perform(Settle(lan))
    assert node.memory.running.lan == lan


@pytest.mark.parametrize("more", [", second_leg: nowhere", ", second_leg: 5"])
def test_a_second_leg_that_is_no_address(more: str) -> None:
    """It is refused, with its place."""
    with pytest.raises(WorldError, match="second_leg"):
        World.from_text(WORLD.format(address=ADDRESS, group=GROUP, more=more))


def test_the_way_to_the_configuration_api() -> None:
    """Named only by a node that offers it (AMWA IS-14, "APIs")."""
    text = WORLD.format(address=ADDRESS, group=GROUP, more=", configuration: true")
    node = World.from_text(text, HandClock()).machine("node")
    assert isinstance(node, Nmos)
    assert "configuration/" in ask(node, "GET", "/x-nmos").json
    assert ask(node, "GET", "/x-nmos/configuration/").json == ["v1.0/"]
    assert ask(a_node(), "GET", "/x-nmos/configuration").status == 404
