"""This computer's own interfaces and routes, as its operating system tells them.

Interfaces come from psutil. Routes come from Linux's ``/proc/net/route`` (the main table; proc(5),
fields Iface, Destination, Gateway, Flags, ..., Mask, addresses in the byte order of the machine).
Elsewhere they are not known, and a person has to look.
"""

import socket
import sys
from collections.abc import Iterable, Iterator
from ipaddress import IPv4Address, IPv4Interface, IPv4Network
from pathlib import Path

import psutil

from orchestrator.facility.computer import Attached, Computer, Route

ROUTES = Path("/proc/net/route")

_UP, _GATEWAY, _REJECT = 0x1, 0x2, 0x200
"""RTF_UP, RTF_GATEWAY and RTF_REJECT of Linux's ``route.h``."""


def look() -> Computer:
    """Look at this computer's interfaces and routes, now."""
    return Computer(attached=tuple(_attached()), routes=_routes())


def _attached() -> Iterator[Attached]:
    states = psutil.net_if_stats()
    for name, held in psutil.net_if_addrs().items():
        # An interface with no unit on its cable yet is up all the same, without a carrier.
        if name in states and "up" not in states[name].flags.split(","):
            continue
        for one in held:
            if one.family is socket.AF_INET and one.netmask:
                yield Attached(name, IPv4Interface(f"{one.address}/{one.netmask}"))


def _routes() -> tuple[Route, ...] | None:
    try:
        return tuple(read_routes(ROUTES.read_text(encoding="ascii").splitlines()))
    except OSError:
        return None


def read_routes(lines: Iterable[str]) -> Iterator[Route]:
    """Read the lines of ``/proc/net/route``; the first is its heading."""
    for line in list(lines)[1:]:
        fields = line.split()
        flags = int(fields[3], 16)
        if not flags & _UP or flags & _REJECT:
            continue
        to, gateway, mask = (_address(fields[place]) for place in (1, 2, 7))
        network = IPv4Network(f"{to}/{mask}")
        yield Route(network, fields[0], gateway if flags & _GATEWAY else None)


def _address(word: str) -> IPv4Address:
    """An address from its hexadecimal digits, in this machine's byte order."""
    return IPv4Address(int(word, 16).to_bytes(4, sys.byteorder))
