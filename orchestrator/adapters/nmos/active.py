"""What a sender or receiver does now: the ``/active`` endpoint of AMWA IS-05 v1.1.

``transport_params`` has one entry a leg. Where a stream was never activated a parameter may still
be ``auto``: that is no group and no address.
"""

from collections.abc import Mapping
from ipaddress import AddressValueError, IPv4Address

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.facility.description import Json

AUTO = "auto"
TOP_PORT = 65535
Leg = Mapping[str, Json]


def legs(held: Json) -> list[dict[str, Json]]:
    """The transport parameters, one object a leg.

    Raises:
        Unusable: there are none.
    """
    found = held.get("transport_params") if isinstance(held, dict) else None
    if not isinstance(found, list) or not found or not all(isinstance(leg, dict) for leg in found):
        raise Unusable("its transport_params are no list of objects")
    return found


def master_enable(held: Json) -> bool:
    """The master switch.

    Raises:
        Unusable: there is none.
    """
    found = held.get("master_enable") if isinstance(held, dict) else None
    if not isinstance(found, bool):
        raise Unusable("its master_enable is neither true nor false")
    return found


def runs(leg: Leg) -> bool:
    """Whether a leg takes part while the master switch is on; it does unless it says not."""
    return leg.get("rtp_enabled", True) is not False


def enabled(held: Json) -> bool:
    """Whether anything is sent or received at all: the master switch, and at least one leg."""
    return master_enable(held) and any(runs(leg) for leg in legs(held))


def sent_to(held: Json) -> tuple[str | None, ...]:
    """The group of a sender on each leg, enabled or not; None: no group (``auto``, unicast)."""
    return tuple(group(leg, "destination_ip") for leg in legs(held))


def heard(held: Json) -> str | None:
    """The group that a receiver listens to on its first running leg; None if it is off.

    What a receiver that is switched off was pointed at last is not heard.
    """
    groups = heard_by_leg(held)
    return next((one for one in groups if one is not None), None)


def heard_by_leg(held: Json) -> tuple[str | None, ...]:
    """What a receiver listens to, one entry for each leg that runs."""
    if not master_enable(held):
        return ()
    return tuple(group(leg, "multicast_ip") for leg in legs(held) if runs(leg))


def group(leg: Leg, member: str) -> str | None:
    """A leg's group as ``address:port``; None where it holds no IPv4 multicast address."""
    at, port = address(leg, member), leg.get("destination_port")
    if at is None or not IPv4Address(at).is_multicast:
        return None
    if not isinstance(port, int) or isinstance(port, bool) or not 1 <= port <= TOP_PORT:
        return None
    return f"{at}:{port}"


def address(leg: Leg, member: str) -> str | None:
    """An IPv4 address of a leg; None where it holds none."""
    held = leg.get(member)
    if not isinstance(held, str):
        return None
    try:
        return str(IPv4Address(held))
    except AddressValueError:
        return None
