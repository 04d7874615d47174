from typing import Any

import pytest

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.restconf.data import Route
from orchestrator.adapters.restconf.edit import hop_path, ipv4_path, patch_of, with_address
from orchestrator.facility.step import AddressValue
from tests.yang_models import check_config, check_message, model

WANTED = AddressValue("main", "192.0.2.21", 25, None)
OLD = "192.0.2.20"


def container(**more: Any) -> dict[str, Any]:
    """An ``ipv4`` container as it was read."""
    return {"ietf-ip:ipv4": {"address": [{"ip": OLD, "prefix-length": 24}], **more}}


def interface_with(ipv4: Any, name: str = "eth0") -> dict[str, Any]:
    """A whole configuration in which an interface has that container."""
    kind = "iana-if-type:ethernetCsmacd"
    entry = {"name": name, "type": kind, **ipv4}
    return {"ietf-interfaces:interfaces": {"interface": [entry]}}


def test_the_address_moves_and_all_else_stays() -> None:
    """PUT replaces (RFC 8040, 4.5), so what is not sent is lost: MTU, forwarding, neighbours."""
    others = {"ip": "192.0.2.99", "prefix-length": 24}
    neighbour = {"ip": "192.0.2.77", "link-layer-address": "02:00:00:00:00:4d"}
    held = container(enabled=True, forwarding=False, mtu=1500, neighbor=[neighbour])
    held["ietf-ip:ipv4"]["address"].append(others)
    sent = with_address(held, OLD, WANTED)
    assert sent["ietf-ip:ipv4"] == {
        "enabled": True,
        "forwarding": False,
        "mtu": 1500,
        "address": [{"ip": "192.0.2.21", "prefix-length": 25}, others],
        "neighbor": [neighbour],
    }
    check_config(interface_with(sent))  # RFC 8343, RFC 8344


def test_what_no_client_can_set_is_left_out() -> None:
    """``origin``, and neighbours that the device has learned (RFC 8344: config false)."""
    learned = {"ip": "192.0.2.5", "link-layer-address": "02:00:00:00:00:05", "origin": "dynamic"}
    fixed = {"ip": "192.0.2.6", "link-layer-address": "02:00:00:00:00:06", "origin": "static"}
    held = container(neighbor=[learned, fixed])
    held["ietf-ip:ipv4"]["address"][0]["origin"] = "static"
    sent = with_address(held, OLD, WANTED)
    assert "origin" not in str(sent)
    assert [one["ip"] for one in sent["ietf-ip:ipv4"]["neighbor"]] == ["192.0.2.6"]
    check_config(interface_with(sent))


def test_a_netmask_stays_a_netmask() -> None:
    """A server that offers only that form (a feature of RFC 8344) refuses the other."""
    held = container()
    held["ietf-ip:ipv4"]["address"] = [{"ip": OLD, "netmask": "255.255.255.0"}]
    sent = with_address(held, OLD, WANTED)
    assert sent["ietf-ip:ipv4"]["address"] == [{"ip": "192.0.2.21", "netmask": "255.255.255.128"}]
    check_config(interface_with(sent))


def test_what_a_maker_has_added_to_an_entry_stays_with_it() -> None:
    """An augmented leaf belongs to the interface's address, wherever that goes."""
    held = container()
    held["ietf-ip:ipv4"]["address"][0]["gull:primary"] = True
    sent = with_address(held, OLD, WANTED)
    assert sent["ietf-ip:ipv4"]["address"][0]["gull:primary"] is True


@pytest.mark.parametrize(
    ("held", "words"),
    [
        ({}, "no IPv4"),
        ({"ietf-ip:ipv4": {}}, "given by DHCP"),
        (container(address=[{"ip": "192.0.2.1", "prefix-length": 24}]), OLD),
        (container(address=["x", {"ip": OLD, "prefix-length": 24}]), "no object"),
    ],
)
def test_an_address_that_is_not_configured_is_not_moved(held: Any, words: str) -> None:
    """One from DHCP, or one that another hand has taken away."""
    with pytest.raises(Unusable, match=words):
        with_address(held, OLD, WANTED)


@pytest.mark.parametrize("name", ["eth0", "eth0.10", "ge-0/0/1", "a,b=c d", "Ünit"])
def test_the_path_is_the_standards(name: str) -> None:
    """RFC 8040, 3.5.3: keys percent-encoded; read back by a YANG library."""
    path = ipv4_path(name)
    assert path.isascii()
    assert path.count("/") == 3
    tree = model().from_raw(interface_with(container(), name))
    found = tree.goto(model().parse_resource_id(path))
    assert found.raw_value() == container()["ietf-ip:ipv4"]


def test_a_patch_of_address_and_gateway_is_the_standards() -> None:
    """RFC 8072: both edits validate, and each target leads to what its value is about."""
    route = Route("fixed/1", "192.0.2.1")
    patch = patch_of("eth0", with_address(container(), OLD, WANTED), route, "192.0.2.126")
    check_message(patch)
    edits = patch["ietf-yang-patch:yang-patch"]["edit"]
    assert [(edit["edit-id"], edit["operation"]) for edit in edits] == [
        ("address", "replace"),
        ("gateway", "replace"),
    ]
    hop = {"next-hop-address": "192.0.2.1"}
    routes = {"route": [{"destination-prefix": "0.0.0.0/0", "next-hop": hop}]}
    protocol = {
        "type": "ietf-routing:static",
        "name": "fixed/1",
        "static-routes": {"ietf-ipv4-unicast-routing:ipv4": routes},
    }
    routing = {"control-plane-protocols": {"control-plane-protocol": [protocol]}}
    tree = {**interface_with(container()), "ietf-routing:routing": routing}
    check_config(tree)  # RFC 8349
    place = model().parse_resource_id(hop_path(route))
    assert model().from_raw(tree).goto(place).raw_value() == hop
    assert edits[1]["target"] == hop_path(route)
    assert edits[1]["value"] == {
        "ietf-ipv4-unicast-routing:next-hop": {"next-hop-address": "192.0.2.126"}
    }
