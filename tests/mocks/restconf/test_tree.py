import copy
from typing import Any

import pytest

from mocks.restconf.errors import Refused
from mocks.restconf.tree import (
    IPV4,
    ROUTING,
    configured,
    dict_of,
    fresh,
    hardware,
    read_back,
    shown,
)
from mocks.state import Lan
from tests.mocks.hosts import a_host
from tests.yang_models import check_all, check_config

LAN = Lan("192.0.2.20", 24, "192.0.2.1")
WITHOUT = Lan("192.0.2.20", 24, None)


def port(tree: dict[str, Any]) -> dict[str, Any]:
    """The IPv4 container of the media port."""
    found: dict[str, Any] = tree["ietf-interfaces:interfaces"]["interface"][1][IPV4]
    return found


@pytest.mark.parametrize("lan", [LAN, WITHOUT])
def test_configuration_and_state_are_the_standards(lan: Lan) -> None:
    """By the IETF's modules of RFC 8343, 8344, 8348 and 8349."""
    tree = configured(fresh(), lan)
    check_config(tree)
    check_all(shown(tree, a_host().unit, "SW-8"))
    check_all({"ietf-hardware:hardware": hardware(a_host().unit, "SW-8")})


@pytest.mark.parametrize("lan", [LAN, WITHOUT])
@pytest.mark.parametrize("subnet", [{}, {"netmask": ""}])
def test_what_is_read_back_is_what_was_configured(lan: Lan, subnet: dict[str, str]) -> None:
    """With a prefix length and with a netmask, with a gateway and without."""
    kept = fresh()
    port(kept)["address"] = [subnet]
    tree = configured(kept, lan)
    check_config(tree)
    assert read_back(tree) == (kept, lan)


@pytest.mark.parametrize(
    ("change", "tag"),
    [
        ({"mtu": 67}, "invalid-value"),
        ({"address": [{"ip": "192.0.2.20", "prefix-length": 33}]}, "invalid-value"),
        ({"address": [{"ip": "192.0.2.20"}]}, "data-missing"),
        ({"address": [{"ip": "x", "prefix-length": 24}]}, "invalid-value"),
        ({"address": [{"ip": "192.0.2.20", "prefix-length": 24}] * 2}, "invalid-value"),
        ({"address": [{"ip": "192.0.2.20", "netmask": "255.0.255.0"}]}, "invalid-value"),
        ({"address": ["x"]}, "bad-element"),
        ({"odd": 1}, "unknown-element"),
        ({"address": [{"ip": "192.0.2.20", "prefix-length": 24, "origin": "dhcp"}]}, "unknown"),
        ({"address": []}, "operation-failed"),
        ({"address": [{"ip": "198.51.100.9", "prefix-length": 24}]}, "invalid-value"),
    ],
)
def test_a_configuration_that_is_not_valid_is_refused(change: dict[str, Any], tag: str) -> None:
    """As the modules have it; and a gateway has to be on the link of the address."""
    tree = configured(fresh(), LAN)
    port(tree).update(copy.deepcopy(change))
    with pytest.raises(Refused) as caught:
        read_back(tree)
    assert caught.value.tag.startswith(tag)


def test_what_the_device_needs_can_not_be_taken_away() -> None:
    """Its port, and the protocol that holds its routes."""
    tree = configured(fresh(), LAN)
    for gone in ("ietf-interfaces:interfaces", ROUTING):
        with pytest.raises(Refused):
            read_back({name: value for name, value in tree.items() if name != gone})
    with pytest.raises(Refused):
        dict_of([])
