"""The bodies that move an interface to another address by RESTCONF.

An address is a list key (RFC 8344), and neither PUT nor PATCH may change a key (RFC 8040, 4.5 and
4.6.1); a plain PATCH with another address would leave the interface with two. So the ``ipv4``
container is sent whole, with what else it held: other addresses, ``enabled``, ``forwarding``,
``mtu``, static neighbours, and whatever a maker has added.

A gateway stands elsewhere (RFC 8349). Where it moves too, both go in one YANG Patch (RFC 8072),
which is done whole or not at all.
"""

from urllib.parse import quote

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.restconf.data import (
    DEFAULT_ROUTE,
    INTERFACES,
    IP,
    ROUTING,
    UNICAST,
    Route,
    member,
)
from orchestrator.facility.description import Json
from orchestrator.facility.step import AddressValue

YANG_DATA = "application/yang-data+json"
YANG_PATCH = "application/yang-patch+json"
PATCH_ID = "readdress"
_STATIC = "static"


def ipv4_path(interface: str) -> str:
    """The path of an interface's ``ipv4`` container below the datastore (RFC 8040, 3.5.3)."""
    return f"/{INTERFACES}:interfaces/interface={_key(interface)}/{IP}:ipv4"


def hop_path(route: Route) -> str:
    """The path of a static default route's next hop below the datastore."""
    return (
        f"/{ROUTING}:routing/control-plane-protocols/control-plane-protocol="
        f"{ROUTING}:{_STATIC},{_key(route.protocol)}/static-routes/{UNICAST}:ipv4/"
        f"route={_key(DEFAULT_ROUTE)}/next-hop"
    )


def with_address(document: Json, was: str, wanted: AddressValue) -> Json:
    """The ``ipv4`` container of ``document`` with ``was`` replaced, all else as it was.

    What the device tells and no client can set (``origin``, learned neighbours) is left out.

    Raises:
        Unusable: the container makes no sense, or ``was`` is not among its addresses.
    """
    container = member(document, IP, "ipv4")
    if not isinstance(container, dict):
        raise Unusable("the interface has no IPv4 settings")
    held = member(container, IP, "address")
    entries = held if isinstance(held, list) else []
    if not any(member(entry, IP, "ip") == was for entry in entries):
        raise Unusable(
            f"{was} is not among the addresses that are set on it: another hand has changed them, "
            "or it was given by DHCP"
        )
    moved = [
        _moved(entry, wanted) if member(entry, IP, "ip") == was else _settable(entry)
        for entry in entries
    ]
    rest = {
        name: value
        for name, value in container.items()
        if _bare(name) not in {"address", "neighbor"}
    }
    neighbours = member(container, IP, "neighbor")
    kept = [_settable(one) for one in neighbours or () if _origin(one) in (None, _STATIC)]
    more = {"neighbor": kept} if kept else {}
    return {f"{IP}:ipv4": {**rest, "address": moved, **more}}


def patch_of(interface: str, ipv4: Json, route: Route, gateway: str) -> Json:
    """A YANG Patch on the datastore: the address first, then the gateway of a default route."""
    hop = {f"{UNICAST}:next-hop": {"next-hop-address": gateway}}
    edits = [
        {
            "edit-id": "address",
            "operation": "replace",
            "target": ipv4_path(interface),
            "value": ipv4,
        },
        {"edit-id": "gateway", "operation": "replace", "target": hop_path(route), "value": hop},
    ]
    return {"ietf-yang-patch:yang-patch": {"patch-id": PATCH_ID, "edit": edits}}


def _moved(entry: Json, wanted: AddressValue) -> Json:
    """The entry at its new address; its subnet in the form that it had."""
    kept = {
        name: value
        for name, value in _settable(entry).items()
        if _bare(name) not in {"ip", "prefix-length", "netmask"}
    }
    if member(entry, IP, "netmask") is not None and member(entry, IP, "prefix-length") is None:
        return {"ip": wanted.address, "netmask": _netmask(wanted.prefix), **kept}
    return {"ip": wanted.address, "prefix-length": wanted.prefix, **kept}


def _settable(entry: Json) -> dict[str, Json]:
    if not isinstance(entry, dict):
        raise Unusable("an entry of the interface's IPv4 settings is no object")
    return {name: value for name, value in entry.items() if _bare(name) != "origin"}


def _origin(entry: Json) -> Json:
    return member(entry, IP, "origin")


def _netmask(prefix: int) -> str:
    bits = (0xFFFFFFFF << (32 - prefix)) & 0xFFFFFFFF
    return ".".join(str(bits >> shift & 0xFF) for shift in (24, 16, 8, 0))


def _bare(name: str) -> str:
    return name.removeprefix(f"{IP}:")


def _key(value: str) -> str:
    """A list key in a path: everything reserved is percent-encoded (RFC 8040, 3.5.3)."""
    return quote(value, safe="")
