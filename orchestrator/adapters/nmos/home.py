"""A node whose host was readdressed: what its streams still hold of the old address.

A sender names its own address (``source_ip``), a receiver that of its interface (``interface_ip``;
AMWA IS-05 v1.1). NMOS has no way to move a host, so nothing says what becomes of these when another
way does; a node may hold on to the old address until it is told otherwise. The constraints name the
addresses that the host has now. A stream that is written to is told one of those, in the place of
one that the host has no more.
"""

from collections.abc import Mapping, Sequence
from ipaddress import AddressValueError, IPv4Address
from typing import Any

from orchestrator.facility.description import Json

OWN_ADDRESS = {"senders": "source_ip", "receivers": "interface_ip"}
"""The parameter of a leg that holds the node's own address, by the kind of stream."""

Params = Sequence[Mapping[str, Json]]


def rehomed(kind: str, constraints: Json, params: Params, own: str) -> list[dict[str, Json]]:
    """``params`` with an own address that is gone replaced by the one that took its place.

    That is the one address that the constraints allow and no other leg has; among several, ``own``,
    at which the node is spoken to, where just one leg is out of date. What is not sure stays as it
    is, and is refused for not being allowed.
    """
    name = OWN_ADDRESS[kind]
    allowed = [_addresses(rule, name) for rule in _each(constraints, len(params))]
    stale = [
        bool(these) and _is_address(leg.get(name)) and leg[name] not in these
        for leg, these in zip(params, allowed, strict=True)
    ]
    taken = {leg.get(name) for leg, old in zip(params, stale, strict=True) if not old}
    found = []
    for leg, these, old in zip(params, allowed, stale, strict=True):
        left = [address for address in these if address not in taken]
        if old and len(left) > 1 and stale.count(True) == 1 and own in left:
            left = [own]
        found.append({**leg, name: left[0]} if old and len(left) == 1 else dict(leg))
    return found


def _each(constraints: Json, legs: int) -> list[Any]:
    held = constraints if isinstance(constraints, list) else []
    return [held[number] if number < len(held) else None for number in range(legs)]


def _addresses(leg: Json, name: str) -> list[str]:
    rule = leg.get(name) if isinstance(leg, dict) else None
    allowed = rule.get("enum") if isinstance(rule, dict) else None
    return [one for one in allowed if _is_address(one)] if isinstance(allowed, list) else []


def _is_address(value: Json) -> bool:
    try:
        IPv4Address(value if isinstance(value, str) else "")
    except AddressValueError:
        return False
    return True
