from typing import Any

import pytest

from mocks.clock import HandClock
from mocks.load import WorldError
from mocks.nmos.node import Nmos
from mocks.world import World
from tests.amwa import conforms, needs_schemas
from tests.mocks.nodes import WORLD, a_node, ask, place

API = "/x-nmos/configuration/v1.0"
PATHS = f"{API}/rolePaths"
BULK = f"{PATHS}/root/bulkProperties"


def a_configurable_node(make: str = "nmos") -> Nmos:
    """The usual node, which offers its configuration."""
    text = WORLD.format(address="127.44.3.41", group="239.194.1.155:5004", more="")
    text = text.replace("make: nmos,", f"make: {make}, configuration: true,")
    device = World.from_text(text, HandClock()).machine("node")
    assert isinstance(device, Nmos)
    return device


def restore(data: Any, **more: Any) -> dict[str, Any]:
    """The body of a restore."""
    return {"arguments": {"dataSet": data, "recurse": True, "restoreMode": 0, **more}}


def enabled(node: Nmos) -> bool:
    """Whether its one sender is on, by what it boots with."""
    return node.memory.saved.sources["program"].enabled


def test_it_is_announced_where_it_is_offered() -> None:
    """Among the device's controls (IS-14, "IS-04 interactions"); else there is no such path."""
    node = a_configurable_node()
    (device,) = ask(node, "GET", "/x-nmos/node/v1.3/devices").json
    assert {
        "type": "urn:x-nmos:control:configuration/v1.0",
        "href": "http://127.44.3.41:8080/x-nmos/configuration/v1.0/",
    } in device["controls"]
    (device,) = ask(a_node(), "GET", "/x-nmos/node/v1.3/devices").json
    assert len(device["controls"]) == 1
    assert ask(a_node(), "GET", PATHS).status == 404


@needs_schemas
def test_what_it_answers_conforms() -> None:
    """To the schemas of AMWA IS-14 v1.0 (which say little of what is inside)."""
    node = a_configurable_node()
    conforms(ask(node, "GET", f"{API}/").json, "is-14", "base")
    conforms(ask(node, "GET", PATHS).json, "is-14", "rolePaths-base")
    conforms(ask(node, "GET", f"{PATHS}/root").json, "is-14", "rolePath")
    conforms(ask(node, "GET", f"{PATHS}/root/properties").json, "is-14", "properties-base")
    backup = ask(node, "GET", BULK).json
    conforms(backup, "is-14", "bulkProperties-get-response")
    body = restore(backup["value"])
    for method in ("patch", "put"):
        conforms(body, "is-14", f"bulkProperties-{method}-request")
        found = ask(node, method.upper(), BULK, body)
        assert found.status == 200
        conforms(found.json, "is-14", f"bulkProperties-{method}-response")
    value = ask(node, "GET", f"{PATHS}/root/properties/1p6/value").json
    conforms(value, "is-14", "property-value-get")
    conforms({"value": "x"}, "is-14", "property-value-put-request")
    conforms(ask(node, "GET", f"{PATHS}/nobody").json, "is-14", "ms05-error")


def test_a_backup_is_put_back() -> None:
    """To validate changes nothing; to restore brings back labels and switches alike."""
    node = a_configurable_node()
    backup = ask(node, "GET", BULK).json["value"]
    label = f"{PATHS}/root.program/properties/1p6/value"
    assert ask(node, "PUT", label, {"value": "Other"}).status == 200
    switch = f"{PATHS}/root.program/properties/2p1/value"
    assert ask(node, "PUT", switch, {"value": False}).status == 200
    assert enabled(node) is False
    before = node.memory
    assert ask(node, "PATCH", BULK, restore(backup)).json["status"] == 200
    assert node.memory == before
    assert ask(node, "PUT", BULK, restore(backup)).json["status"] == 200
    assert ask(node, "GET", label).json["value"] == ""
    assert enabled(node) is True
    active = ask(node, "GET", f"{place(node, 'senders', 'PGM')}/active").json
    assert active["master_enable"] is True


def test_descriptors_can_be_left_out() -> None:
    """By ``includeDescriptors``; nested objects by ``recurse``."""
    found = ask(a_configurable_node(), "GET", f"{BULK}?recurse=false&includeDescriptors=false").json
    (only,) = found["value"]["values"]
    assert {one["descriptor"] for one in only["values"]} == {None}


@pytest.mark.parametrize(
    ("method", "path", "body", "outside", "inside"),
    [
        ("GET", "nobody/bulkProperties", None, 404, 404),
        ("GET", "root/descriptor", None, 404, 404),
        ("GET", "root/properties/9p9/value", None, 404, 502),
        ("PUT", "root/properties/1p6/value", {"value": 7}, 500, 417),
        ("PUT", "root.DeviceManager/properties/3p4/value", {"value": "x"}, 500, 405),
        ("PUT", "root/bulkProperties", restore({}, restoreMode=1), 400, 400),
        ("PUT", "root/bulkProperties", restore({"values": [7]}), 400, 400),
    ],
)
def test_the_model_refuses(method: str, path: str, body: Any, outside: int, inside: int) -> None:
    """The status inside need not be that outside, as was seen of a real node."""
    found = ask(a_configurable_node(), method, f"{PATHS}/{path}", body)
    assert (found.status, found.json["status"]) == (outside, inside)
    assert found.json["errorMessage"]


@pytest.mark.parametrize(
    ("method", "body", "status"), [("PUT", [], 400), ("PUT", {}, 400), ("DELETE", None, 405)]
)
def test_the_api_refuses(method: str, body: Any, status: int) -> None:
    """In the other of the two shapes."""
    found = ask(a_configurable_node(), method, BULK, body)
    assert (found.status, found.json["code"]) == (status, status)
    assert "debug" in found.json


def test_only_a_node_has_it() -> None:
    """Another make can't be given it in a world file."""
    with pytest.raises(WorldError, match="leave it out"):
        a_configurable_node("tamarisk")
