"""Looks whether anything answers at an address, without saying anything to it.

A connection is tried at each port at which the device would be spoken to. Where none comes about
and nobody refuses one, other signs of somebody are looked for (:mod:`presence`).
"""

import asyncio
import contextlib
import errno
import ipaddress
import socket
from collections.abc import Mapping

from orchestrator.adapters.http.dial import Target, check, target_of
from orchestrator.adapters.http.presence import Presence
from orchestrator.adapters.way import Way
from orchestrator.adapters.ways import Plugged, table
from orchestrator.facility.description import Description
from orchestrator.facility.plan import Plan
from orchestrator.running.protocols import ProbeAddress

PROBE_S = 1.0
"""Seconds after which an address counts as silent; a connection in a plant takes milliseconds."""

PORT = 80
"""The port that is tried where nothing says which."""

_SILENT = frozenset(
    {errno.ETIMEDOUT, errno.EHOSTUNREACH, errno.ENETUNREACH, errno.EHOSTDOWN, errno.ECONNREFUSED}
)


def make_probe(
    plan: Plan,
    descriptions: Mapping[str, Description],
    connect: Mapping[str, str],
    *,
    timeout_s: float = PROBE_S,
    plugged: Plugged | None = None,
) -> ProbeAddress:
    """Make what looks whether anything answers at an address.

    An address that ``connect`` does not name is dialled as it is, at the port of each way in which
    the device is spoken to.

    Raises:
        CallError: ``connect`` is not written right.
    """
    check(connect)
    ways = table(descriptions, plugged)

    async def probe(device: str, address: str) -> str | None:
        elsewhere = target_of(connect, address)
        ports = _ports(plan, ways, device)
        targets = [elsewhere] if elsewhere else [Target(address, port) for port in ports]
        presence = Presence(address) if elsewhere is None else None
        echo = asyncio.ensure_future(presence.echo(timeout_s)) if presence else None
        looks = [await _looked(target, timeout_s) for target in targets]
        if presence is not None and echo is not None:
            looks += [await echo, presence.neighbour()]
        return next((words for words in looks if words is not None), None)

    return probe


async def _looked(target: Target, timeout_s: float) -> str | None:
    try:
        hosts = await _hosts(target)
    except OSError as error:
        return _failed(error, target)
    looks = [await _look(Target(host, target.port), timeout_s) for host in hosts]
    return next((words for words in looks if words is not None), None)


async def _hosts(target: Target) -> list[str]:
    """The addresses behind a name; an address is its own."""
    found = await asyncio.get_running_loop().getaddrinfo(
        target.host, target.port, type=socket.SOCK_STREAM
    )
    return list(dict.fromkeys(str(info[4][0]) for info in found))


async def _look(target: Target, timeout_s: float) -> str | None:
    try:
        async with asyncio.timeout(timeout_s):
            _, writer = await asyncio.open_connection(target.host, target.port)
    except TimeoutError:
        return None
    except OSError as error:
        return _failed(error, target)
    writer.close()
    with contextlib.suppress(OSError):
        await writer.wait_closed()
    return f"something takes connections on port {target.port}"


def _ports(plan: Plan, ways: Mapping[str, Way], device: str) -> list[int]:
    planned = plan.devices.get(device)
    if planned is None:
        return [PORT]
    known = [ways[name].port(planned) for name in planned.speaks if name in ways]
    return list(dict.fromkeys(known)) or [planned.port or PORT]


def _failed(error: OSError, target: Target) -> str | None:
    """What a failed connection says; only silence says that nobody is there.

    A refusal is an answer. Inside 127.0.0.0/8 (RFC 1122, 3.2.1.3) this computer itself refuses,
    whoever should be there.
    """
    if isinstance(error, ConnectionRefusedError) and not _this_computer(target.host):
        return f"something refuses connections on port {target.port}"
    if error.errno in _SILENT:
        return None
    return f"it could not be looked at ({error.strerror or type(error).__name__})"


def _this_computer(host: str) -> bool:
    return ipaddress.ip_address(host).is_loopback
