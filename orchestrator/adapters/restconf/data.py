"""What a RESTCONF server's standard modules say: interfaces, addresses, gateways, identity.

===================================  ==========  ==============================================
module                               RFC         what is read of it
===================================  ==========  ==============================================
ietf-interfaces                      8343        the interfaces
ietf-ip                              8344        the IPv4 addresses of each
ietf-routing,                        8349        the default route's next hop, if there is one
ietf-ipv4-unicast-routing
ietf-hardware                        8348        serial, model and firmware of the chassis
===================================  ==========  ==============================================

A member's name stands with its module where that differs from its parent's (RFC 7951, section 4);
a server that writes the module everywhere is borne with.
"""

import ipaddress
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.facility.description import Json
from orchestrator.facility.found import Identity
from orchestrator.facility.plan import Interface

INTERFACES, IP, ROUTING = "ietf-interfaces", "ietf-ip", "ietf-routing"
UNICAST, HARDWARE = "ietf-ipv4-unicast-routing", "ietf-hardware"
DEFAULT_ROUTE = "0.0.0.0/0"
_LOOPBACK = "softwareLoopback"
_CHASSIS = "chassis"
_BITS = 32


@dataclass(frozen=True, slots=True)
class Held:
    """One IPv4 address that an interface of the device has; ``prefix`` in bits."""

    interface: str
    address: str
    prefix: int


@dataclass(frozen=True, slots=True)
class Route:
    """A static default route: the protocol that it is an entry of, and its gateway."""

    protocol: str
    gateway: str


def member(holder: Json, module: str, name: str) -> Json:
    """A member of an object, its name with or without the module; None if it is not there."""
    if not isinstance(holder, dict):
        return None
    return holder.get(f"{module}:{name}", holder.get(name))


def addresses(document: Json) -> list[Held]:
    """Every IPv4 address of every interface but loopbacks, in the device's order (RFC 8344).

    Raises:
        Unusable: an entry makes no sense.
    """
    found = []
    for interface in _list(member(document, INTERFACES, "interfaces"), INTERFACES, "interface"):
        name, kind = _text(interface, INTERFACES, "name"), member(interface, INTERFACES, "type")
        if isinstance(kind, str) and kind.endswith(_LOOPBACK):
            continue
        for entry in _list(member(interface, IP, "ipv4"), IP, "address"):
            address = _host(member(entry, IP, "ip"))
            found.append(Held(name, address, prefix_of(entry)))
    return found


def prefix_of(entry: Json) -> int:
    """The prefix length of an address, which may be given as a netmask (RFC 8344, section 4).

    Raises:
        Unusable: neither is there, or makes sense.
    """
    prefix = member(entry, IP, "prefix-length")
    if type(prefix) is int and 0 <= prefix <= _BITS:
        return prefix
    try:
        return ipaddress.IPv4Network(f"0.0.0.0/{member(entry, IP, 'netmask')}").prefixlen
    except ValueError:
        raise Unusable("an address has neither a prefix length nor a netmask") from None


def routes(document: Json) -> list[Route]:
    """The static default routes that lead to a gateway (RFC 8349, sections 5 and 8).

    Raises:
        Unusable: an entry makes no sense.
    """
    holder = member(document, ROUTING, "control-plane-protocols")
    found = []
    for protocol in _list(holder, ROUTING, "control-plane-protocol"):
        kind = member(protocol, ROUTING, "type")
        if not isinstance(kind, str) or not kind.endswith("static"):
            continue
        static = member(member(protocol, ROUTING, "static-routes"), UNICAST, "ipv4")
        for route in _list(static, UNICAST, "route"):
            hop = member(member(route, UNICAST, "next-hop"), UNICAST, "next-hop-address")
            if member(route, UNICAST, "destination-prefix") == DEFAULT_ROUTE and hop is not None:
                found.append(Route(_text(protocol, ROUTING, "name"), _host(hop)))
    return found


def gateway_of(held: Held, found: Sequence[Route]) -> str | None:
    """The gateway that is on the link of an address; None if no default route leads there."""
    link = ipaddress.IPv4Network(f"{held.address}/{held.prefix}", strict=False)
    return next(
        (route.gateway for route in found if ipaddress.IPv4Address(route.gateway) in link), None
    )


def identity(document: Json) -> Identity | None:
    """Who the device is, by its chassis (RFC 8348); None where no serial is told.

    Raises:
        Unusable: more than one chassis tells a serial, or an entry makes no sense.
    """
    components = _list(member(document, HARDWARE, "hardware"), HARDWARE, "component")
    telling = [each for each in components if _word(each, "serial-num")]
    chassis = [each for each in telling if _is_chassis(each)]
    if len(chassis) > 1:
        chassis = [each for each in chassis if not _word(each, "parent")]
    if len(chassis) != 1 and len(telling) > 1:
        raise Unusable("more than one part of it tells a serial, and none of them is the chassis")
    one = next(iter(chassis or telling), None)
    if one is None:
        return None
    return Identity(
        serial=_word(one, "serial-num"),
        model=_word(one, "model-name"),
        firmware=_word(one, "firmware-rev") or _word(one, "software-rev"),
    )


def named(planned: Sequence[Interface], found: Sequence[Held], spoken_to: str) -> dict[str, Held]:
    """What was found, by the plan's names, in the plan's order; what it does not name comes after.

    A planned interface is the device's of that name, or of its ``slot``; where the plan has just
    one, it is the one that has the address ``spoken_to``. An interface with several addresses is
    meant by that one, or the planned one, or its first; its others stand by themselves, so that
    nothing that the device holds goes unseen.

    Raises:
        Unusable: the one interface of the plan can't be told among several.
    """
    result: dict[str, Held] = {}
    for interface in planned:
        own = [held for held in found if held.interface == (interface.slot or interface.name)]
        if not own and len(planned) == 1 and interface.slot is None:
            own = _the_only(found, spoken_to)
        if own:
            wanted = (spoken_to, interface.address)
            likely = [held for address in wanted for held in own if held.address == address]
            result[interface.name] = (likely or own)[0]
    for held in found:
        if held not in result.values():
            alone = held.interface not in result
            result[held.interface if alone else f"{held.interface} {held.address}"] = held
    return result


def _the_only(found: Sequence[Held], spoken_to: str) -> list[Held]:
    here = [held for held in found if held.address == spoken_to]
    if here or len(found) <= 1:
        return here or list(found)
    names = ", ".join(dict.fromkeys(held.interface for held in found))
    raise Unusable(
        f"none of its interfaces ({names}) has the address {spoken_to}; name the one that is meant "
        "in the plan, under 'interfaces'"
    )


def _is_chassis(component: Json) -> bool:
    kind = member(component, HARDWARE, "class")
    return isinstance(kind, str) and kind.rpartition(":")[2] == _CHASSIS


def _word(component: Json, name: str) -> str:
    held = member(component, HARDWARE, name)
    return held.strip() if isinstance(held, str) else ""


def _list(holder: Json, module: str, name: str) -> Iterator[Mapping[str, Json]]:
    """The entries of a list inside ``holder``; nothing where there is no list."""
    held = member(holder, module, name)
    if held is None:
        return
    if not isinstance(held, list):
        raise Unusable(f"its {name} entries are no list")
    for entry in held:
        if not isinstance(entry, dict):
            raise Unusable(f"one of its {name} entries is no object")
        yield entry


def _text(holder: Json, module: str, name: str) -> str:
    held = member(holder, module, name)
    if not isinstance(held, str) or not held:
        raise Unusable(f"an entry has no '{name}'")
    return held


def _host(value: Json) -> str:
    """An IPv4 address; a zone behind it (RFC 6991) says nothing that the interface does not."""
    try:
        return str(ipaddress.IPv4Address(str(value).partition("%")[0]))
    except ValueError:
        raise Unusable("an entry has no IPv4 address") from None
