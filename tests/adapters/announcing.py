"""Announces services by DNS-SD on this computer's loopback interface, and nowhere else."""

import os
import socket
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager

import pytest
from zeroconf import ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

from orchestrator.facility.discovered import Service

LOOPBACK = "127.0.0.1"


def _multicasts() -> bool:
    """Whether this computer's loopback interface takes multicast."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
            one.setsockopt(
                socket.IPPROTO_IP,
                socket.IP_ADD_MEMBERSHIP,
                socket.inet_aton("224.0.0.251") + socket.inet_aton(LOOPBACK),
            )
    except OSError:
        return False
    return True


needs_multicast = pytest.mark.skipif(
    os.environ.get("CI") != "true" and not _multicasts(),
    reason="the loopback interface takes no multicast here",
)


@asynccontextmanager
async def announced(*services: Service) -> AsyncIterator[None]:
    """Announce services for as long as the block lasts."""
    zeroconf = AsyncZeroconf(interfaces=[LOOPBACK])
    try:
        for one in services:
            await (await zeroconf.async_register_service(_info(one), cooperating_responders=True))
        yield
    finally:
        await zeroconf.async_unregister_all_services()
        await zeroconf.async_close()


def _info(service: Service) -> ServiceInfo:
    kind = f"{service.kind}.local."
    return ServiceInfo(
        kind,
        f"{service.name}.{kind}",
        port=service.port,
        addresses=_packed(service.addresses),
        properties=service.text,
        server=f"{service.name}.local.",
    )


def _packed(addresses: Sequence[str]) -> list[bytes]:
    return [socket.inet_aton(address) for address in addresses]
