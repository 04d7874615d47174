"""What a simulated device keeps in its memory, the same for every make, as frozen values.

Running and saved state are apart: a power cycle brings back what is saved.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from ipaddress import AddressValueError, IPv4Address, IPv4Network
from typing import Any

GROUP_BASE = IPv4Address("239.194.0.0")
PORT = 5004
TOP_NUMBER = 65535


@dataclass(frozen=True, slots=True)
class Source:
    """One stream that a device sends. Number 0 and group "" mean that none is assigned."""

    number: int = 0
    group: str = ""
    label: str = ""
    enabled: bool = False


@dataclass(frozen=True, slots=True)
class Destination:
    """One stream input: it listens to a number, a group, or both; 0 and "" mean nothing."""

    number: int = 0
    group: str = ""
    label: str = ""


@dataclass(frozen=True, slots=True)
class Lan:
    """The address of a device's one media port."""

    address: str
    prefix: int
    gateway: str | None = None


@dataclass(frozen=True, slots=True)
class State:
    """All that can be set on a device, at one time. Slots and settings by name.

    ``kept`` is what a make has in its memory beside what all makes have, as plain JSON values.
    """

    lan: Lan
    sources: Mapping[str, Source]
    destinations: Mapping[str, Destination]
    settings: Mapping[str, int]
    kept: Mapping[str, Any] = field(default_factory=dict)

    def with_source(self, slot: str, source: Source) -> "State":
        """The same state with one source replaced."""
        return replace(self, sources={**self.sources, slot: source})

    def with_destination(self, slot: str, destination: Destination) -> "State":
        """The same state with one destination replaced."""
        return replace(self, destinations={**self.destinations, slot: destination})

    def with_settings(self, **settings: int) -> "State":
        """The same state with some settings replaced."""
        return replace(self, settings={**self.settings, **settings})

    def with_kept(self, name: str, value: Any) -> "State":
        """The same state with one thing of the make's own replaced."""
        return replace(self, kept={**self.kept, name: value})


@dataclass(frozen=True, slots=True)
class Memory:
    """What runs now, what a power cycle brings back, and an address accepted but not in effect."""

    running: State
    saved: State
    pending: Lan | None = None

    def as_dict(self) -> dict[str, Any]:
        """The memory as plain dicts, to be dumped and compared."""
        return {
            "running": _plain(self.running),
            "saved": _plain(self.saved),
            "pending": None if self.pending is None else _lan(self.pending),
        }


def derived_group(number: int) -> str:
    """The group that stands for ``number`` where a device derives it; "" for none (0)."""
    return f"{GROUP_BASE + number}:{PORT}" if number else ""


def checked_group(text: object) -> str:
    """A group in its one spelling, ``a.b.c.d:port``; "" for none.

    Raises:
        ValueError: no IPv4 multicast address (RFC 5771) with a port from 1 to 65535.
    """
    if text == "":
        return ""
    host, _, port = str(text).partition(":")
    try:
        address = IPv4Address(host)
    except AddressValueError:
        address = IPv4Address(0)
    well = isinstance(text, str) and address.is_multicast and port.isascii() and port.isdigit()
    if not well or not 1 <= int(port) <= TOP_NUMBER:
        raise ValueError(f"{text!r} is no multicast address with a port")
    return f"{address}:{int(port)}"


def checked_lan(address: object, prefix: object, gateway: object) -> Lan:
    """An address that a device could stand at.

    Raises:
        ValueError: address, prefix or gateway make no sense, alone or together.
    """
    host = _host(address, "address")
    if type(prefix) is not int or not 1 <= prefix <= 30:  # noqa: PLR2004  # a subnet with hosts
        raise ValueError(f"{prefix!r} is no prefix length from 1 to 30")
    subnet = IPv4Network((host, prefix), strict=False)
    if host in (subnet.network_address, subnet.broadcast_address):
        raise ValueError(f"{host} is no host's address in {subnet}")
    if gateway is None:
        return Lan(str(host), prefix, None)
    router = _host(gateway, "gateway")
    if router not in subnet or router == host:
        raise ValueError(f"gateway {router} is no other host's address in {subnet}")
    return Lan(str(host), prefix, str(router))


def _host(text: object, what: str) -> IPv4Address:
    if not isinstance(text, str):
        raise ValueError(f"{text!r} is no {what}")  # noqa: TRY004  # one kind of error for the caller
    try:
        host = IPv4Address(text)
    except AddressValueError as error:
        raise ValueError(f"{text!r} is no {what}") from error
    if host.is_multicast or host.is_unspecified:
        raise ValueError(f"{text!r} is no {what} of one host")
    return host


def _lan(lan: Lan) -> dict[str, Any]:
    return {"address": lan.address, "prefix": lan.prefix, "gateway": lan.gateway}


def _plain(state: State) -> dict[str, Any]:
    return {
        **_lan(state.lan),
        "sources": {
            slot: {"number": s.number, "group": s.group, "label": s.label, "enabled": s.enabled}
            for slot, s in state.sources.items()
        },
        "destinations": {
            slot: {"number": d.number, "group": d.group, "label": d.label}
            for slot, d in state.destinations.items()
        },
        "settings": dict(state.settings),
        **({"kept": dict(state.kept)} if state.kept else {}),
    }
