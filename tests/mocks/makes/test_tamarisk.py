import pytest

from mocks.device import Unit
from mocks.makes.tamarisk import Tamarisk
from mocks.messages import Request
from mocks.state import Destination, Lan, Memory, Source, State

UNIT = Unit("node", "TN-8", "TM-118", "2.7", "", "k3y", 0.15)
SIGNED = {"x-node-key": "k3y", "content-type": "application/json"}


def device() -> Tamarisk:
    """A TN-8 with one sender on, one unassigned, and one receiver."""
    state = State(
        Lan("127.44.3.42", 24, None),
        {"1": Source(421, "239.194.1.165:5004", "Mic", enabled=True), "2": Source()},
        {"1": Destination(0, "239.194.1.55:5004", "Out")},
        {"ptp_domain": 0, "ptp_priority": 128},
    )
    return Tamarisk(UNIT, Memory(state, state))


def ask(node: Tamarisk, method: str, path: str, body: str = "") -> tuple[int, object]:
    """Status and JSON body of a signed-in request."""
    response = node.handle(Request(method, path, SIGNED, body.encode()))
    return response.status, response.json


def test_wants_its_key() -> None:
    """Without the key, or with another, every path answers 403."""
    for headers in ({}, {"x-node-key": "other"}, {"x-node-key": "ké"}):
        assert device().handle(Request("GET", "/api/info", headers)).status == 403


def test_says_who_and_where_it_is() -> None:
    """Identity and port are read as the description expects them."""
    node = device()
    assert ask(node, "GET", "/api/info") == (
        200,
        {"id": {"sn": "TM-118", "type": "TN-8"}, "fw": "2.7"},
    )
    assert ask(node, "GET", "/api/ports")[1] == {
        "ports": {"main": {"addr": "127.44.3.42/24", "gw": ""}}
    }


def test_tx_shows_four_digits_or_dashes() -> None:
    """A number has four digits; unassigned is four dashes and an empty destination."""
    assert ask(device(), "GET", "/api/tx")[1] == {
        "tx": {
            "1": {"num": "0421", "dest": "239.194.1.165:5004", "name": "Mic", "state": "on"},
            "2": {"num": "----", "dest": "", "name": "", "state": "off"},
        }
    }


def test_number_and_group_are_apart() -> None:
    """Neither follows the other, and both may change while the sender is on."""
    node = device()
    assert ask(node, "PUT", "/api/tx/1", '{"num": "0500"}')[0] == 200
    assert node.memory.running.sources["1"] == Source(
        500, "239.194.1.165:5004", "Mic", enabled=True
    )
    ask(node, "PUT", "/api/tx/1", '{"num": "----", "dest": "239.194.9.9:5006", "state": "off"}')
    assert node.memory.running.sources["1"] == Source(0, "239.194.9.9:5006", "Mic")


def test_power_cycle_brings_back_what_was_stored() -> None:
    """A write changes what runs; only a store makes it last."""
    node = device()
    ask(node, "PUT", "/api/tx/1", '{"state": "off"}')
    assert ask(node, "GET", "/api/store")[1] == {"pending": True}
    node.reboot()
    assert node.memory.running.sources["1"].enabled
    ask(node, "PUT", "/api/tx/1", '{"state": "off"}')
    assert ask(node, "POST", "/api/store") == (200, {"stored": True})
    assert ask(node, "GET", "/api/store")[1] == {"pending": False}
    node.reboot()
    assert not node.memory.running.sources["1"].enabled


def test_listens_by_group() -> None:
    """A receiver is pointed at a group, or at nothing."""
    node = device()
    assert ask(node, "GET", "/api/rx")[1] == {
        "rx": {"1": {"from": "239.194.1.55:5004", "name": "Out"}}
    }
    assert ask(node, "PUT", "/api/rx/1", '{"from": "239.194.1.56:5004"}')[0] == 200
    assert ask(node, "PUT", "/api/rx/1", '{"from": "", "name": "Off"}')[1] == {
        "from": "",
        "name": "Off",
    }


def test_address_is_a_running_change() -> None:
    """A settled address runs, and is lost in a power cycle unless it was stored there."""
    node = device()
    body = '{"addr": "127.44.3.99/24", "gw": "127.44.3.254"}'
    response = node.handle(Request("PUT", "/api/ports/main", SIGNED, body.encode()))
    assert response.status == 200
    assert node.memory.saved.lan.address == "127.44.3.42"
    node.perform(response.later[0].act)
    assert node.memory.running.lan == Lan("127.44.3.99", 24, "127.44.3.254")
    node.reboot()
    assert node.memory.running.lan.address == "127.44.3.42"


def test_power_cycle_while_settling() -> None:
    """An accepted address that had not settled is forgotten; the old wait is void."""
    node = device()
    body = b'{"addr": "127.44.3.99/24", "gw": ""}'
    (later,) = node.handle(Request("PUT", "/api/ports/main", SIGNED, body)).later
    node.reboot()
    node.perform(later.act)
    assert node.memory.running.lan.address == "127.44.3.42"


def test_clock_is_set_whole() -> None:
    """Both members, under the node's own path."""
    node = device()
    ask(node, "PUT", "/api/clock", '{"domain": 2, "priority": 9}')
    assert ask(node, "GET", "/api/clock")[1] == {"domain": 2, "priority": 9}


@pytest.mark.parametrize(
    ("method", "path", "body", "status"),
    [
        ("GET", "/api", "", 404),
        ("PUT", "/api/tx/9", '{"state": "off"}', 404),
        ("PUT", "/api/rx/9", '{"from": ""}', 404),
        ("PUT", "/api/ports/other", "{}", 404),
        ("DELETE", "/api/store", "", 405),
        ("PUT", "/api/tx/1", '{"num": "500"}', 422),
        ("PUT", "/api/tx/1", '{"num": "0000"}', 422),
        ("PUT", "/api/tx/1", '{"num": 500}', 422),
        ("PUT", "/api/tx/1", '{"state": true}', 422),
        ("PUT", "/api/tx/1", '{"dest": "10.0.0.1:5004"}', 422),
        ("PUT", "/api/tx/1", '{"dest": "239.0.0.1"}', 422),
        ("PUT", "/api/tx/1", '{"dest": 5}', 422),
        ("PUT", "/api/tx/2", '{"state": "on"}', 409),
        ("PUT", "/api/rx/1", '{"from": "nothing"}', 422),
        ("PUT", "/api/ports/main", '{"addr": "127.44.3.99"}', 422),
        ("PUT", "/api/ports/main", '{"gw": ""}', 422),
    ],
)
def test_bad_requests_change_nothing(method: str, path: str, body: str, status: int) -> None:
    """What the device won't do is answered with the right status, and nothing changes."""
    node = device()
    before = node.memory
    assert ask(node, method, path, body)[0] == status
    assert node.memory == before
