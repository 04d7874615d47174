import ipaddress
from typing import Any

import pytest

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.restconf import data
from orchestrator.adapters.restconf.data import Held, Route
from orchestrator.facility.found import Identity
from orchestrator.facility.plan import Interface

ETH, LOOPBACK = "iana-if-type:ethernetCsmacd", "iana-if-type:softwareLoopback"
ONE, TWO, SECOND = (
    Held("eth0", "192.0.2.20", 24),
    Held("eth1", "198.51.100.20", 25),
    Held("eth0", "192.0.2.21", 24),
)


def interfaces(*entries: dict[str, Any]) -> dict[str, Any]:
    """The interfaces as a server tells them."""
    return {"ietf-interfaces:interfaces": {"interface": list(entries)}}


def interface(name: str, *addresses: dict[str, Any], kind: str = ETH) -> dict[str, Any]:
    """One interface."""
    return {"name": name, "type": kind, "ietf-ip:ipv4": {"address": list(addresses)}}


def test_every_address_of_every_interface_is_read_in_the_devices_order() -> None:
    """Loopbacks are on no network; an interface without IPv4 has nothing to tell."""
    told = interfaces(
        interface(
            "lo", {"ip": "127.0.0.1", "prefix-length": 8}, kind="iana-if-type:softwareLoopback"
        ),
        interface(
            "eth0",
            {"ip": "192.0.2.20", "prefix-length": 24},
            {"ip": "192.0.2.21", "netmask": "255.255.255.0"},
        ),
        {"name": "wan", "type": ETH},
        interface("eth1", {"ip": "198.51.100.20%7", "prefix-length": 25}),
    )
    assert data.addresses(told) == [ONE, SECOND, TWO]


def test_names_with_and_without_their_module_are_the_same() -> None:
    """RFC 7951, section 4, asks for the module where it changes; some servers write it always."""
    entry = {"ietf-ip:ip": "192.0.2.20", "ietf-ip:prefix-length": 24}
    each = {
        "ietf-interfaces:name": "eth0",
        "ietf-interfaces:type": ETH,
        "ietf-ip:ipv4": {"ietf-ip:address": [entry]},
    }
    told = {"ietf-interfaces:interfaces": {"ietf-interfaces:interface": [each]}}
    assert data.addresses(told) == [ONE]


@pytest.mark.parametrize("prefix", range(33))
def test_a_netmask_is_its_prefix_length(prefix: int) -> None:
    """Against Python's ipaddress, which has its own table of masks."""
    mask = str(ipaddress.IPv4Network((0, prefix)).netmask)
    assert data.prefix_of({"netmask": mask}) == prefix
    assert data.prefix_of({"prefix-length": prefix}) == prefix


@pytest.mark.parametrize(
    "odd",
    [
        interfaces({"type": ETH, "ietf-ip:ipv4": {"address": []}}),
        interfaces(interface("eth0", {"ip": "192.0.2.20"})),
        interfaces(interface("eth0", {"ip": "192.0.2.20", "prefix-length": True})),
        interfaces(interface("eth0", {"ip": "192.0.2.20", "netmask": "255.0.255.0"})),
        interfaces(interface("eth0", {"ip": "fe80::1", "prefix-length": 24})),
        interfaces(interface("eth0", {"prefix-length": 24})),
        {"ietf-interfaces:interfaces": {"interface": {}}},
        {"ietf-interfaces:interfaces": {"interface": [1]}},
    ],
)
def test_what_makes_no_sense_is_told(odd: dict[str, Any]) -> None:
    """Nothing is guessed of an address."""
    with pytest.raises(Unusable):
        data.addresses(odd)


def routing(*protocols: dict[str, Any]) -> dict[str, Any]:
    """The routing protocols as a server tells them."""
    return {"ietf-routing:control-plane-protocols": {"control-plane-protocol": list(protocols)}}


def static(name: str, *routes: tuple[str, str]) -> dict[str, Any]:
    """A static protocol with routes."""
    each = [{"destination-prefix": to, "next-hop": {"next-hop-address": hop}} for to, hop in routes]
    return {
        "type": "ietf-routing:static",
        "name": name,
        "static-routes": {"ietf-ipv4-unicast-routing:ipv4": {"route": each}},
    }


def test_a_gateway_is_the_next_hop_of_a_static_default_route() -> None:
    """RFC 8349, section 8: other routes, and other protocols, give none."""
    told = routing(
        {"type": "ietf-routing:direct", "name": "d"},
        static("fixed", ("10.0.0.0/8", "192.0.2.9"), ("0.0.0.0/0", "192.0.2.1")),
        static("empty"),
    )
    assert data.routes(told) == [Route("fixed", "192.0.2.1")]
    assert data.gateway_of(ONE, data.routes(told)) == "192.0.2.1"
    assert data.gateway_of(TWO, data.routes(told)) is None


def component(name: str, kind: str = "chassis", **more: Any) -> dict[str, Any]:
    """A part of a device."""
    return {"name": name, "class": f"iana-hardware:{kind}", **more}


def hardware(*components: dict[str, Any]) -> dict[str, Any]:
    """What a device is made of, as a server tells it."""
    return {"ietf-hardware:hardware": {"component": list(components)}}


def test_a_device_is_its_chassis() -> None:
    """RFC 8348: a power supply has a serial too, and stands first here."""
    told = hardware(
        component("psu", "power-supply", parent="frame", **{"serial-num": "P-1"}),
        component(
            "frame",
            **{"serial-num": " SW-7 ", "model-name": "SN-2", "firmware-rev": "1.0"},
            **{"software-rev": "9"},
        ),
    )
    assert data.identity(told) == Identity(serial="SW-7", model="SN-2", firmware="1.0")


def test_the_outermost_of_several_chassis_is_the_device() -> None:
    """A chassis in a chassis is a part of it."""
    outer = component("outer", **{"serial-num": "A"})
    told = hardware(component("inner", parent="outer", **{"serial-num": "B"}), outer)
    found = data.identity(told)
    assert found is not None
    assert found.serial == "A"


def test_a_lone_part_with_a_serial_will_do_and_none_is_none() -> None:
    """Small devices may tell of one part, and call it what they like."""
    lone = hardware(component("board", "module", **{"serial-num": "B", "software-rev": "3"}))
    assert data.identity(lone) == Identity(serial="B", model="", firmware="3")
    assert data.identity(hardware(component("frame"))) is None
    assert data.identity({}) is None


def test_two_that_could_be_it_are_not_guessed_between() -> None:
    """A stack of two, or two parts that are no chassis."""
    for kind in ("chassis", "module"):
        parts = [component(name, kind, **{"serial-num": name}) for name in "AB"]
        with pytest.raises(Unusable, match="more than one"):
            data.identity(hardware(*parts))


def planned(name: str, address: str, slot: str | None = None) -> Interface:
    """An interface of the plan."""
    return Interface(name, "media", address, slot)


def test_the_plans_names_come_first_and_in_its_order() -> None:
    """By name, or by the device's own name for it; what the plan does not name stands after."""
    red, blue = planned("red", "198.51.100.20", "eth1"), planned("eth0", "192.0.2.20")
    assert list(data.named([red, blue], [ONE, SECOND, TWO], ONE.address).items()) == [
        ("red", TWO),
        ("eth0", ONE),
        ("eth0 192.0.2.21", SECOND),
    ]


def test_the_plans_only_interface_is_the_one_that_is_spoken_to() -> None:
    """Then nobody has to know what the device calls it."""
    only = [planned("main", "192.0.2.20")]
    assert data.named(only, [ONE, TWO], TWO.address) == {"main": TWO, "eth0": ONE}
    assert data.named(only, [TWO], "203.0.113.9") == {"main": TWO}
    assert data.named(only, [], "203.0.113.9") == {}
    with pytest.raises(Unusable, match=r"eth0, eth1.*203\.0\.113\.9.*'interfaces'"):
        data.named(only, [ONE, TWO], "203.0.113.9")


def test_of_several_addresses_the_spoken_to_the_planned_or_the_first_is_meant() -> None:
    """In that order; the others are seen all the same, for somebody else may want them."""
    meant = [planned("eth0", "192.0.2.21")]
    assert data.named(meant, [ONE, SECOND], "192.0.2.20")["eth0"] == ONE
    assert data.named(meant, [ONE, SECOND], "203.0.113.9")["eth0"] == SECOND
    other = [planned("eth0", "192.0.2.99")]
    found = data.named(other, [ONE, SECOND], "203.0.113.9")
    assert found == {"eth0": ONE, "eth0 192.0.2.21": SECOND}


def test_an_interface_that_has_no_address_now_is_left_out() -> None:
    """The planning says then which there are."""
    pair = [planned("eth0", "192.0.2.20"), planned("eth9", "192.0.2.30")]
    assert list(data.named(pair, [ONE, TWO], ONE.address)) == ["eth0", "eth1"]
