"""A simulated device's memory as the data of its RESTCONF server, and back.

The modules are ietf-interfaces (RFC 8343), ietf-ip (RFC 8344), ietf-routing and
ietf-ipv4-unicast-routing (RFC 8349), and ietf-hardware (RFC 8348). The media port is ``eth0``; its
first address and the static default route are the address that the device has in its memory. What
else its configuration holds (an MTU, a static neighbour, further addresses) is kept beside, as it
was sent.
"""

import copy
import ipaddress
from collections.abc import Mapping
from typing import Any

from mocks.device import Unit
from mocks.restconf.errors import Refused
from mocks.restconf.path import Tree
from mocks.state import Lan, checked_lan

PORT = "eth0"
INTERFACES, ROUTING = "ietf-interfaces:interfaces", "ietf-routing:routing"
HARDWARE, IPV4, UNICAST = "ietf-hardware:hardware", "ietf-ip:ipv4", "ietf-ipv4-unicast-routing:ipv4"
MAKER = "Sallow"
_DEFAULT = "0.0.0.0/0"
_BOOT = "2026-01-01T00:00:00Z"

_SETTABLE: Mapping[str, frozenset[str]] = {
    "interface": frozenset({"name", "description", "type", "enabled", IPV4}),
    IPV4: frozenset({"enabled", "forwarding", "mtu", "address", "neighbor"}),
    "address": frozenset({"ip", "prefix-length", "netmask"}),
    "neighbor": frozenset({"ip", "link-layer-address"}),
}
"""What a client may set; everything else that is shown is the device's own."""


def fresh() -> Tree:
    """What a new device has configured, but for the address of its port and its gateway."""
    return {
        INTERFACES: {
            "interface": [
                {
                    "name": "lo",
                    "type": "iana-if-type:softwareLoopback",
                    IPV4: {"address": [{"ip": "127.0.0.1", "prefix-length": 8}]},
                },
                {
                    "name": PORT,
                    "description": "media",
                    "type": "iana-if-type:ethernetCsmacd",
                    "enabled": True,
                    IPV4: {
                        "enabled": True,
                        "forwarding": False,
                        "mtu": 1500,
                        "address": [{}],
                        "neighbor": [
                            {"ip": "192.0.2.77", "link-layer-address": "02:00:00:00:00:4d"}
                        ],
                    },
                },
            ]
        },
        ROUTING: {
            "control-plane-protocols": {
                "control-plane-protocol": [
                    {"type": "ietf-routing:static", "name": "fixed", "static-routes": {UNICAST: {}}}
                ]
            }
        },
    }


def configured(kept: Tree, lan: Lan) -> Tree:
    """The configuration, with an address and a gateway."""
    tree = copy.deepcopy(kept)
    first = _port(tree)[IPV4]["address"][0]
    by_mask = "netmask" in first
    first.clear()
    first["ip"] = lan.address
    if by_mask:
        first["netmask"] = _netmask(lan.prefix)
    else:
        first["prefix-length"] = lan.prefix
    if lan.gateway is not None:
        hop = {"next-hop-address": lan.gateway}
        _static(tree)["route"] = [{"destination-prefix": _DEFAULT, "next-hop": hop}]
    return tree


def read_back(tree: Tree) -> tuple[Tree, Lan]:
    """What is to be kept of an edited configuration, and the address that it gives the device.

    Raises:
        Refused: the configuration is not valid.
    """
    for interface in tree.get(INTERFACES, {}).get("interface", []):
        _only(interface, "interface", INTERFACES)
        if IPV4 in interface:
            _ipv4(
                interface[IPV4], f"/{INTERFACES}/interface[name='{interface.get('name')}']/{IPV4}"
            )
    kept = copy.deepcopy(tree)
    addresses = _port(kept).get(IPV4, {}).get("address") or [None]
    if addresses[0] is None:
        raise Refused("operation-failed", "the media port would be left without an address")
    first, route = addresses[0], _static(kept).pop("route", [])
    gateway = route[0]["next-hop"].get("next-hop-address") if route else None
    try:
        lan = checked_lan(first["ip"], _prefix(first), gateway)
    except ValueError as error:
        raise Refused("invalid-value", str(error)) from error
    addresses[0] = {"netmask": ""} if "netmask" in first else {}
    return kept, lan


def shown(tree: Tree, unit: Unit, serial: str) -> Tree:
    """Configuration and state together: what a GET without ``content`` answers."""
    whole = copy.deepcopy(tree)
    for interface in whole[INTERFACES]["interface"]:
        interface["oper-status"] = "up"
        interface["statistics"] = {"discontinuity-time": _BOOT}
        for kind in ("address", "neighbor"):
            for entry in interface.get(IPV4, {}).get(kind, []):
                entry["origin"] = "static"
        if interface["name"] == PORT:
            learned = {"ip": "192.0.2.78", "link-layer-address": "02:00:00:00:00:4e"}
            interface[IPV4].setdefault("neighbor", []).append({**learned, "origin": "dynamic"})
    whole[HARDWARE] = hardware(unit, serial)
    return whole


def hardware(unit: Unit, serial: str) -> Tree:
    """What the device is made of: a chassis and a power supply, each with a serial."""
    chassis = {
        "name": "frame",
        "class": "iana-hardware:chassis",
        "mfg-name": MAKER,
        "model-name": unit.model,
        "serial-num": serial,
        "firmware-rev": unit.firmware,
    }
    supply = {
        "name": "supply",
        "class": "iana-hardware:power-supply",
        "parent": "frame",
        "parent-rel-pos": 1,
        "serial-num": f"PS-{serial}",
    }
    return {"component": [supply, chassis]}


def _ipv4(ipv4: Any, where: str) -> None:
    _only(ipv4, IPV4, where)
    mtu = ipv4.get("mtu", 1500)
    if type(mtu) is not int or not 68 <= mtu <= 65535:  # noqa: PLR2004 - RFC 8344, section 4
        raise Refused("invalid-value", "an MTU is from 68 to 65535", f"{where}/mtu")
    seen = set()
    for entry in ipv4.get("address", []):
        _only(entry, "address", f"{where}/address")
        place = f"{where}/address[ip='{entry.get('ip')}']"
        try:
            host = str(ipaddress.IPv4Address(entry.get("ip")))
        except ValueError:
            raise Refused("invalid-value", "no IPv4 address", f"{where}/address") from None
        if host in seen:
            raise Refused("invalid-value", "the address stands twice", place)
        seen.add(host)
        if ("prefix-length" in entry) == ("netmask" in entry):
            raise Refused("data-missing", "one of prefix-length and netmask has to be there", place)
        if not 0 <= _prefix(entry) <= 32:  # noqa: PLR2004 - RFC 8344, section 4
            raise Refused("invalid-value", "a prefix length is from 0 to 32", place)
    for entry in ipv4.get("neighbor", []):
        _only(entry, "neighbor", f"{where}/neighbor")


def _only(value: Any, kind: str, where: str) -> None:
    if not isinstance(value, dict):
        raise Refused("bad-element", f"{kind} is an object", where)
    for name in value:
        if name not in _SETTABLE[kind]:
            raise Refused("unknown-element", f"{name} can't be set", f"{where}/{name}")


def _prefix(entry: Mapping[str, Any]) -> int:
    if "netmask" not in entry:
        held = entry.get("prefix-length")
        return held if type(held) is int else -1
    try:
        return ipaddress.IPv4Network(f"0.0.0.0/{entry['netmask']}").prefixlen
    except ValueError:
        return -1


def _port(tree: Tree) -> Tree:
    entries = tree.get(INTERFACES, {}).get("interface", [])
    found = next((one for one in entries if one.get("name") == PORT), None)
    if found is None:
        raise Refused("operation-failed", "the media port can't be taken away")
    return dict_of(found)


def _static(tree: Tree) -> Tree:
    try:
        protocol = tree[ROUTING]["control-plane-protocols"]["control-plane-protocol"][0]
        return dict_of(protocol["static-routes"][UNICAST])
    except (KeyError, IndexError):
        raise Refused("operation-failed", "the static routes can't be taken away") from None


def dict_of(value: Any) -> Tree:
    """The value, which is an object.

    Raises:
        Refused: it is none.
    """
    if not isinstance(value, dict):
        raise Refused("bad-element", "an object is wanted")
    return value


def _netmask(prefix: int) -> str:
    return str(ipaddress.IPv4Network((0, prefix)).netmask)
