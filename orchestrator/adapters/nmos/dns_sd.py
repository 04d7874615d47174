"""What announces itself on this network by DNS-SD over multicast DNS (RFC 6762, RFC 6763).

It needs the package ``zeroconf``, which is an extra: not every computer at which a change is
planned may speak multicast.
"""

import asyncio
import socket
from collections.abc import Iterator
from typing import TYPE_CHECKING

from orchestrator.errors import CallError
from orchestrator.facility.discovered import Service

if TYPE_CHECKING:
    from zeroconf import ServiceStateChange, Zeroconf
    from zeroconf.asyncio import AsyncServiceInfo

NODE, QUERY, REGISTER = "_nmos-node._tcp", "_nmos-query._tcp", "_nmos-register._tcp"
"""The service types of AMWA IS-04 v1.3, "Discovery"."""

KINDS = (QUERY, REGISTER, NODE)
USUAL_WAIT_S = 3.0
_LOCAL = ".local."
_ANSWER_MS = 1500


async def browse(wait_s: float = USUAL_WAIT_S, interface: str | None = None) -> tuple[Service, ...]:
    """All services of AMWA IS-04 that announce themselves within some seconds, by name.

    ``interface`` is the address of the one interface to listen at; without it, at all.

    Raises:
        CallError: the package is not there, or the interface can't be listened at.
    """
    try:
        from zeroconf import InterfaceChoice  # noqa: PLC0415 - an extra
        from zeroconf.asyncio import AsyncServiceBrowser, AsyncZeroconf  # noqa: PLC0415
    except ImportError:
        raise CallError(
            "to listen for announcements, the package zeroconf is needed",
            "install it with pip install 'cutsheet[dns-sd]', or name a registry with --registry",
        ) from None
    seen: dict[tuple[str, str], None] = {}

    def noted(
        zeroconf: "Zeroconf",  # noqa: ARG001 - zeroconf calls it by these names
        service_type: str,
        name: str,
        state_change: "ServiceStateChange",
    ) -> None:
        if state_change.name == "Removed":
            seen.pop((service_type, name), None)
        else:
            seen[service_type, name] = None

    try:
        if interface is not None:
            _own_address(interface)
        zeroconf = AsyncZeroconf(interfaces=[interface] if interface else InterfaceChoice.All)
    except (OSError, ValueError) as why:
        raise CallError(
            f"can't listen for announcements at {interface or 'any interface'}: {why}",
            "name the address of this computer on the media network with --interface",
        ) from None
    try:
        types = [f"{kind}{_LOCAL}" for kind in KINDS]
        browser = AsyncServiceBrowser(zeroconf.zeroconf, types, handlers=[noted])
        await asyncio.sleep(wait_s)
        await browser.async_cancel()
        infos = await asyncio.gather(*(_asked(zeroconf.zeroconf, *one) for one in sorted(seen)))
    finally:
        await zeroconf.async_close()
    return tuple(service for info in infos for service in _service(info))


def _own_address(interface: str) -> None:
    """Look whether an address is one of this computer's.

    Raises:
        OSError: it is none. (The library would leave a socket open over it.)
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.bind((interface, 0))


async def _asked(zeroconf: "Zeroconf", kind: str, name: str) -> "AsyncServiceInfo | None":
    from zeroconf.asyncio import AsyncServiceInfo  # noqa: PLC0415 - an extra

    info = AsyncServiceInfo(kind, name)
    return info if await info.async_request(zeroconf, _ANSWER_MS) else None


def _service(info: "AsyncServiceInfo | None") -> Iterator[Service]:
    from zeroconf import IPVersion  # noqa: PLC0415 - an extra

    if info is None or info.port is None:
        return
    yield Service(
        kind=info.type.removesuffix(_LOCAL),
        name=info.name.removesuffix(f".{info.type}"),
        addresses=tuple(info.parsed_addresses(IPVersion.V4Only)),
        port=info.port,
        text={key: value or "" for key, value in info.decoded_properties.items()},
    )
