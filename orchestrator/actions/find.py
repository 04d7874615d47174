"""Find the NMOS nodes that a registry knows, or that announce themselves on this network.

It only reads, and it asks nobody of the plan by its own: whoever tells of a node is believed as to
where it is, and nothing else follows from it.
"""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from functools import partial

from orchestrator.adapters.nmos import dns_sd
from orchestrator.adapters.nmos.discovery import Asking, ask_node, ask_registry
from orchestrator.errors import CutsheetError, words
from orchestrator.facility.discovered import HeardOf, Service

Browse = Callable[[], Awaitable[Sequence[Service]]]
"""Listens for announcements for a while."""

_DEVELOPMENT = 100
"""AMWA IS-04, "Discovery": priorities from 100 on are for development, and not for use."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What was heard: the nodes, the services that announced themselves, and who was no help."""

    nodes: tuple[HeardOf, ...]
    services: tuple[Service, ...] = ()
    no_help: tuple[str, ...] = ()


async def by_registry(url: str, asking: Asking) -> Heard:
    """The nodes that a registry knows.

    Raises:
        CallError: it is no URL of a registry.
        DeviceError: the registry could not be asked, or makes no sense.
    """
    return Heard(nodes=await ask_registry(url, asking))


async def by_announcement(browse: Browse, asking: Asking) -> Heard:
    """The nodes that announce themselves, and those that an announced registry knows.

    The registries are asked in the order of their priority until one answers.

    Raises:
        CallError: nothing can be listened to.
    """
    services = tuple(await browse())
    no_help: list[str] = []
    nodes: dict[str, HeardOf] = {}
    for service in sorted(filter(_is_query, services), key=_priority):
        known = await _tried(partial(ask_registry, _url(service), asking), service, no_help)
        nodes.update({node.id: node for node in known})
        if known:
            break
    alone = [service for service in services if service.kind == dns_sd.NODE and _usable(service)]
    for told in await asyncio.gather(
        *(_tried(partial(_one, _url(service), asking), service, no_help) for service in alone)
    ):
        nodes.update({node.id: node for node in told if node.id not in nodes})
    return Heard(nodes=tuple(nodes.values()), services=services, no_help=tuple(no_help))


async def _one(url: str, asking: Asking) -> tuple[HeardOf, ...]:
    return (await ask_node(url, asking),)


async def _tried(
    ask: Callable[[], Awaitable[tuple[HeardOf, ...]]], service: Service, no_help: list[str]
) -> tuple[HeardOf, ...]:
    try:
        return await ask()
    except CutsheetError as error:
        no_help.append(f"{service.name}: {words(error).what}")
        return ()


def _is_query(service: Service) -> bool:
    return service.kind == dns_sd.QUERY and _usable(service) and _priority(service) < _DEVELOPMENT


def _usable(service: Service) -> bool:
    return bool(service.addresses) and service.text.get("api_auth", "false") != "true"


def _priority(service: Service) -> int:
    held = service.text.get("pri", "")
    return int(held) if held.isascii() and held.isdecimal() else _DEVELOPMENT


def _url(service: Service) -> str:
    scheme = service.text.get("api_proto", "http")
    return f"{scheme}://{service.addresses[0]}:{service.port}"
