"""Asks registries, and nodes that announced themselves, over HTTP: nobody whom the plan names.

Nobody signs in to them, and nothing is written.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from ssl import SSLContext
from typing import TypeVar

import httpx

from orchestrator.adapters.http.conversation import play
from orchestrator.adapters.http.dial import check, target_of
from orchestrator.adapters.http.json_pointer import Unusable, document
from orchestrator.adapters.http.messages import Exchange, Party, Request, Response
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.http.transport import Transport
from orchestrator.adapters.nmos.node import NODE_API
from orchestrator.adapters.nmos.query import QueryApi, heard_of, party_of
from orchestrator.errors import Broken
from orchestrator.facility.discovered import HeardOf

TIMEOUT_S = 10.0
LARGEST = 32 * 1024 * 1024
"""Bytes of one answer: a registry that does not page gives all its nodes at once."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """How to ask: where connections go instead (``connect``), and what stands for the network.

    ``tls`` is what certificates are judged by; None: this computer's own trust.
    """

    connect: Mapping[str, str] = field(default_factory=dict)
    network: httpx.AsyncBaseTransport | None = None
    patience: Patience = field(default_factory=Patience)
    tls: SSLContext | None = None


async def ask_registry(url: str, asking: Asking) -> tuple[HeardOf, ...]:
    """The nodes that the registry at ``url`` knows.

    Raises:
        CallError: it is no URL of a registry.
        DeviceError: it could not be asked, or makes no sense.
    """
    party, scheme, port, path = party_of(url)
    return await _converse(
        QueryApi(party, path).nodes(), party, f"{scheme}://{party.address}:{port}", asking
    )


async def ask_node(url: str, asking: Asking) -> HeardOf:
    """Who the node at ``url`` says it is.

    Raises:
        CallError: it is no such URL.
        DeviceError: it could not be asked, or makes no sense.
    """
    party, scheme, port, _ = party_of(url)
    node = Party(device="a node", address=party.address)
    return await _converse(_self(node), node, f"{scheme}://{node.address}:{port}", asking)


def _self(party: Party) -> Exchange[HeardOf]:
    what = "asking who it is"
    response = yield Request(method="GET", path=f"{NODE_API}/self", doing=what)
    try:
        return heard_of(document(response.body), "the node itself")
    except Unusable as why:
        raise Broken(party.device, party.address, what, str(why)) from None


async def _converse(talk: Exchange[T], party: Party, base: str, asking: Asking) -> T:
    """Play a talk to its end, over a way of its own."""
    check(asking.connect)
    transport = Transport(
        party,
        base,
        timeout_s=TIMEOUT_S,
        dial=target_of(asking.connect, party.address),
        network=asking.network,
        tls=asking.tls,
        body_limit=LARGEST,
    )

    async def ask(request: Request) -> Response:
        return await asking.patience.send(request, transport.send)

    try:
        return await play(talk, ask, transport.clean)
    finally:
        await transport.close()
