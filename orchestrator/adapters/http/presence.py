"""Signs that somebody has an address though no connection to it comes about.

A unit behind its own firewall answers no connection, and is there all the same. Two signs show it:
an answer to an ICMP echo (RFC 792), where this computer lets its users send one, and the neighbour
table of Linux (rtnetlink(7)), which holds the hardware address of whoever answered the question
(RFC 826) that the connection made it ask. Either is a sign that somebody is there. None of them is
ever a sign that nobody is: silence stays what it is.
"""

import asyncio
import contextlib
import ipaddress
import os
import socket
import struct
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass

_ECHO, _ECHO_REPLY = 8, 0
_GET_NEIGHBOURS, _DONE, _ERROR = 30, 3, 2
_REQUEST_DUMP = 0x1 | 0x300
_REACHABLE = 0x02
_DESTINATION, _HARDWARE, _CACHE = 1, 2, 3
_HEADER, _NEIGHBOUR, _ATTRIBUTE = struct.Struct("=IHHII"), struct.Struct("=BxxxiHBB"), "=HH"
_SLACK_S = 0.05
"""The system counts its ages in hundredths of a second."""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Who answered at an address: the hardware address, and how many seconds ago."""

    address: str
    hardware: str
    age_s: float


class Presence:
    """Looks for signs of one address from now on; made before the connection is tried."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._since = time.monotonic()
        self._looking = _worth_a_look(address)

    async def echo(self, timeout_s: float) -> str | None:
        """What says that somebody answered an echo within ``timeout_s`` seconds, if one did."""
        if not self._looking or ipaddress.ip_address(self._address).version != 4:  # noqa: PLR2004
            return None
        with contextlib.suppress(OSError, TimeoutError):
            async with asyncio.timeout(timeout_s):
                if await _echoed(self._address):
                    return "something answers an echo"
        return None

    def neighbour(self) -> str | None:
        """What says that the neighbour table has somebody who answered since the look began.

        What it knew before counts for nothing: whoever had the address may just have left it.
        """
        if not self._looking:
            return None
        elapsed = time.monotonic() - self._since + _SLACK_S
        with contextlib.suppress(OSError):
            for one in neighbours():
                if one.address == self._address and one.age_s <= elapsed:
                    return f"a unit with the hardware address {one.hardware} has the address"
        return None


def _worth_a_look(address: str) -> bool:
    try:
        return not ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


async def _echoed(address: str) -> bool:
    """Whether an echo to ``address`` is answered; waits for ever.

    Raises:
        OSError: this user may send none, or there is no way there.
    """
    loop = asyncio.get_running_loop()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM, socket.IPPROTO_ICMP) as ping:
        ping.setblocking(False)
        ping.connect((address, 0))
        await loop.sock_sendall(ping, struct.pack("!BBHHH", _ECHO, 0, 0, 0, 1))
        while True:
            answer = await loop.sock_recv(ping, 512)
            if answer and answer[0] == _ECHO_REPLY:
                return True


def neighbours() -> list[Neighbour]:
    """Everybody whom Linux knows to be reachable on its own networks; elsewhere nobody.

    Raises:
        OSError: the table can't be read.
    """
    if not sys.platform.startswith("linux"):
        return []
    found: list[Neighbour] = []
    with socket.socket(socket.AF_NETLINK, socket.SOCK_RAW, socket.NETLINK_ROUTE) as link:
        link.settimeout(0.5)
        link.bind((0, 0))
        ask = _NEIGHBOUR.pack(socket.AF_UNSPEC, 0, 0, 0, 0)
        link.send(_HEADER.pack(_HEADER.size + len(ask), _GET_NEIGHBOURS, _REQUEST_DUMP, 1, 0) + ask)
        while True:
            for kind, body in _messages(link.recv(1 << 16)):
                if kind in (_DONE, _ERROR):
                    return found
                found += _neighbour(body)


def _messages(data: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at + _HEADER.size <= len(data):
        length, kind, *_ = _HEADER.unpack_from(data, at)
        yield kind, data[at + _HEADER.size : at + length]
        at += max(_aligned(length), _HEADER.size)


def _neighbour(body: bytes) -> list[Neighbour]:
    _, _, state, _, _ = _NEIGHBOUR.unpack_from(body)
    parts = dict(_attributes(body[_NEIGHBOUR.size :]))
    known = state & _REACHABLE and {_DESTINATION, _HARDWARE, _CACHE} <= parts.keys()
    if not known or not any(parts[_HARDWARE]):
        return []
    address = str(ipaddress.ip_address(parts[_DESTINATION]))
    (confirmed,) = struct.unpack_from("=I", parts[_CACHE])
    age = confirmed / os.sysconf("SC_CLK_TCK")
    return [Neighbour(address, parts[_HARDWARE].hex(":"), age)]


def _attributes(data: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at + 4 <= len(data):
        length, kind = struct.unpack_from(_ATTRIBUTE, data, at)
        if length < 4:  # noqa: PLR2004 - no attribute is shorter than its head
            return
        yield kind, data[at + 4 : at + length]
        at += _aligned(length)


def _aligned(length: int) -> int:
    return (length + 3) & ~3
