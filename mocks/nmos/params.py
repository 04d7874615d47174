"""The transport parameters of a simulated NMOS node (AMWA IS-05 v1.1, RTP).

What a request may hold, what ``auto`` becomes when it is activated, and what the constraints say.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from ipaddress import IPv4Address, ip_address
from typing import Any

AUTO = "auto"
PORT = 5004
TOP_PORT = 65535
UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[1-5][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
TIME = re.compile(r"[0-9]+:[0-9]+")
MODES = ("activate_immediate", "activate_scheduled_absolute", "activate_scheduled_relative")

Params = dict[str, Any]
Check = Callable[[Any], bool]


class Wrong(ValueError):
    """A request that is not as the standard wants it; the text says why."""


def _is_address(value: Any) -> bool:
    try:
        ip_address(value if isinstance(value, str) else "")
    except ValueError:
        return False
    return True


def _port(lowest: int) -> Check:
    def check(value: Any) -> bool:
        return value == AUTO or (type(value) is int and lowest <= value <= TOP_PORT)

    return check


def _address(*also: Any) -> Check:
    return lambda value: _is_address(value) or (value in also and type(value) is not bool)


def _truth(value: Any) -> bool:
    return isinstance(value, bool)


CHECKS: Mapping[str, Mapping[str, Check]] = {
    "senders": {
        "source_ip": _address(AUTO),
        "destination_ip": _address(AUTO),
        "source_port": _port(0),
        "destination_port": _port(1),
        "rtp_enabled": _truth,
    },
    "receivers": {
        "source_ip": _address(None),
        "multicast_ip": _address(None),
        "interface_ip": _address(AUTO),
        "destination_port": _port(1),
        "rtp_enabled": _truth,
    },
}
"""Kind, parameter, and what it takes. The node offers no FEC, no RTCP and nothing of its own."""

_OWN_ADDRESS = {"senders": "source_ip", "receivers": "interface_ip"}


def unset(kind: str) -> Params:
    """The parameters of a leg that nobody has set yet."""
    if kind == "senders":
        auto = dict.fromkeys(("source_ip", "destination_ip", "source_port"), AUTO)
        return {**auto, "destination_port": AUTO, "rtp_enabled": True}
    none: Params = {"source_ip": None, "multicast_ip": None}
    return {**none, "interface_ip": AUTO, "destination_port": AUTO, "rtp_enabled": True}


def constraints(kind: str, addresses: Sequence[str]) -> list[Params]:
    """What the parameters may be, one object a leg: the own address is one of its own."""
    return [
        {name: {"enum": [at]} if name == _OWN_ADDRESS[kind] else {} for name in CHECKS[kind]}
        for at in addresses
    ]


def checked(kind: str, legs: Any, addresses: Sequence[str]) -> list[Params]:
    """The ``transport_params`` of a request, one object a leg.

    Raises:
        Wrong: they are not as they should be.
    """
    if not isinstance(legs, list) or len(legs) != len(addresses):
        raise Wrong(f"transport_params must be a list of {len(addresses)}, one object a leg")
    for leg, own in zip(legs, addresses, strict=True):
        if not isinstance(leg, dict):
            raise Wrong("an entry of transport_params is no object")
        for name, value in leg.items():
            check = CHECKS[kind].get(name)
            if check is None:
                raise Wrong(f"there is no parameter {name}")
            allowed = name != _OWN_ADDRESS[kind] or value in (AUTO, own)
            if not check(value) or not allowed:
                raise Wrong(f"{name} can't be {value!r}")
            if name == "multicast_ip" and value is not None and not ip_address(value).is_multicast:
                raise Wrong(f"{value} is no multicast address")
    return legs


def checked_body(kind: str, body: Any) -> dict[str, Any]:
    """A request's members apart from its parameters.

    Raises:
        Wrong: they are not as they should be.
    """
    other = "receiver_id" if kind == "senders" else "sender_id"
    known = {"master_enable", "activation", "transport_params", other}
    known |= {"transport_file"} if kind == "receivers" else set()
    if not isinstance(body, dict):
        raise Wrong("the body is no object")
    if strange := sorted(set(body) - known):
        raise Wrong(f"there is no member {strange[0]}")
    if not isinstance(body.get("master_enable", False), bool):
        raise Wrong("master_enable must be true or false")
    peer = body.get(other)
    if peer is not None and not (isinstance(peer, str) and UUID.fullmatch(peer)):
        raise Wrong(f"{other} must be an id or null")
    _check_activation(body.get("activation", {"mode": None}))
    _check_file(body.get("transport_file", {"data": None, "type": None}))
    return body


def _check_activation(held: Any) -> None:
    if not isinstance(held, dict) or set(held) - {"mode", "requested_time"} or "mode" not in held:
        raise Wrong("activation must be an object of mode and requested_time")
    if held["mode"] is not None and held["mode"] not in MODES:
        raise Wrong(f"there is no activation mode {held['mode']!r}")
    when = held.get("requested_time")
    if when is not None and not (isinstance(when, str) and TIME.fullmatch(when)):
        raise Wrong("requested_time must be seconds:nanoseconds")
    if held["mode"] in MODES[1:] and when is None:
        raise Wrong("a scheduled activation needs a requested_time")


def _check_file(held: Any) -> None:
    if not isinstance(held, dict) or set(held) != {"data", "type"}:
        raise Wrong("transport_file must be an object of data and type")
    texts = [isinstance(held[name], str) for name in ("data", "type")]
    if texts[0] != texts[1] or not all(isinstance(v, str | None) for v in held.values()):
        raise Wrong("data and type of a transport_file must both be texts, or both null")


def resolved(legs: Sequence[Params], addresses: Sequence[str], vacant: str) -> list[Any]:
    """The parameters as they become active: nothing is ``auto`` any more.

    ``vacant`` is the group that the node takes by itself where nobody gives it one.
    """
    usual: Params = {"source_port": PORT, "destination_port": PORT, "destination_ip": vacant}
    return [
        {name: value if value != AUTO else usual.get(name, own) for name, value in leg.items()}
        for leg, own in zip(legs, addresses, strict=True)
    ]


def group(leg: Params, member: str) -> str:
    """A leg's group as ``address:port``, "" if it has none."""
    address, port = leg[member], leg["destination_port"]
    if not _is_address(address) or type(port) is not int:
        return ""
    at = ip_address(address)
    return f"{address}:{port}" if isinstance(at, IPv4Address) and at.is_multicast else ""
