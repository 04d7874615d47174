from typing import Any

import pytest

from tests.amwa import conforms, needs_schemas
from tests.mocks.nodes import ADDRESS, NOW, a_node, ask, place, staging

NODE = "/x-nmos/node/v1.3"
SCHEMAS = {
    "self": "node",
    "devices": "devices",
    "sources": "sources",
    "flows": "flows",
    "senders": "senders",
    "receivers": "receivers",
}


@needs_schemas
@pytest.mark.parametrize("kind", SCHEMAS)
@pytest.mark.parametrize("legs", [1, 2])
def test_every_list_conforms(kind: str, legs: int) -> None:
    """To the schemas of AMWA IS-04 v1.3, with one leg and two."""
    conforms(ask(a_node(legs=legs), "GET", f"{NODE}/{kind}").json, "is-04", SCHEMAS[kind])


@needs_schemas
@pytest.mark.parametrize("kind", list(SCHEMAS)[1:])
def test_every_resource_conforms(kind: str) -> None:
    """Each by its own id, as it stands in its list."""
    node = a_node()
    for one in ask(node, "GET", f"{NODE}/{kind}").json:
        found = ask(node, "GET", f"{NODE}/{kind}/{one['id']}").json
        assert found == one
        conforms(found, "is-04", SCHEMAS[kind].removesuffix("s"))


def test_the_node_says_who_it_is() -> None:
    """By the tags of BCP-002-02, each with one value, on the node and on its device."""
    node = a_node()
    wanted = {
        "urn:x-nmos:tag:asset:manufacturer/v1.0": ["Sallow"],
        "urn:x-nmos:tag:asset:product/v1.0": ["SN-2"],
        "urn:x-nmos:tag:asset:instance-id/v1.0": ["SW-7"],
    }
    assert ask(node, "GET", f"{NODE}/self").json["tags"] == wanted
    (device,) = ask(node, "GET", f"{NODE}/devices").json
    assert device["tags"] == {**wanted, "urn:x-nmos:tag:asset:function/v1.0": ["Audio I/O"]}


def test_its_parts_refer_to_each_other() -> None:
    """Every id that is named is one that is there."""
    node = a_node()
    found: dict[str, Any] = {kind: ask(node, "GET", f"{NODE}/{kind}").json for kind in SCHEMAS}
    ids = {kind: {one["id"] for one in found[kind]} for kind in list(SCHEMAS)[1:]}
    (device,) = found["devices"]
    assert device["node_id"] == found["self"]["id"]
    assert set(device["senders"]) == ids["senders"]
    assert set(device["receivers"]) == ids["receivers"]
    assert {one["flow_id"] for one in found["senders"]} == ids["flows"]
    assert {one["source_id"] for one in found["flows"]} == ids["sources"]
    assert {one["device_id"] for kind in ("sources", "flows", "senders", "receivers")
            for one in found[kind]} == ids["devices"]  # fmt: skip


def test_its_urls_lead_to_itself() -> None:
    """At its own address, and at the port that the request came to."""
    node = a_node()
    (device,) = ask(node, "GET", f"{NODE}/devices").json
    assert device["controls"] == [
        {
            "type": "urn:x-nmos:control:sr-ctrl/v1.1",
            "href": f"http://{ADDRESS}:8080/x-nmos/connection/v1.1/",
        }
    ]
    manifest = ask(node, "GET", f"{NODE}/senders").json[0]["manifest_href"]
    assert ask(node, "GET", manifest.removeprefix(f"http://{ADDRESS}:8080")).status == 200


def test_versions_rise_with_an_activation() -> None:
    """That of the sender, of its device and of the node: as two integers, not as text."""
    node = a_node()
    where = place(node, "senders", "PGM")
    for at, wanted in ((9.0, "9:0"), (10.0, "10:0")):
        staging(node, where, {"activation": NOW}, at)
        assert ask(node, "GET", f"{NODE}/senders").json[0]["version"] == wanted
        assert ask(node, "GET", f"{NODE}/self").json["version"] == wanted
        assert ask(node, "GET", f"{NODE}/devices").json[0]["version"] == wanted


def test_ids_last() -> None:
    """They are made of the serial and the slot, so another unit has others."""
    one, again = a_node(), a_node()
    first = ask(one, "GET", f"{NODE}/self").json["id"]
    assert ask(again, "GET", f"{NODE}/self").json["id"] == first
    again.shown_serial = "SW-8"
    assert ask(again, "GET", f"{NODE}/self").json["id"] != first


@pytest.mark.parametrize("legs", [1, 2])
def test_the_clock_of_a_description_is_the_interfaces(legs: int) -> None:
    """Each leg names the hardware address of the interface that it is bound to (RFC 7273, 4.7)."""
    node = a_node(legs=legs)
    own = ask(node, "GET", f"{NODE}/self").json
    macs = [one["port_id"] for one in own["interfaces"]]
    assert len(set(macs)) == legs
    text = ask(node, "GET", f"{place(node, 'senders', 'PGM')}/transportfile").body.decode()
    told = [line.partition("localmac=")[2] for line in text.split("\r\n") if "localmac" in line]
    assert [one.lower() for one in told] == macs
