import asyncio
from collections.abc import AsyncIterator

import httpx
import pytest

from mocks.in_memory import InMemory
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.nmos.discovery import Asking, ask_node, ask_registry
from orchestrator.errors import Broken, CallError, Unreachable
from tests.mocks.nmos.test_registry import AT, a_world

ONCE = Patience(attempts=1)
REGISTRY = f"http://{AT}:8080"


def asking() -> Asking:
    """A simulated registry and its nodes in memory."""
    return Asking(network=InMemory(a_world(12)), patience=ONCE)


def test_a_registry_is_asked_by_its_url() -> None:
    """All its nodes come, over as many pages as there are."""
    found = asyncio.run(ask_registry(REGISTRY, asking()))
    assert {node.identity.serial for node in found} == {f"SW-{n}" for n in range(1, 13)}
    assert {node.told_by for node in found} == {f"the registry at {AT}"}


def test_a_node_is_asked_itself() -> None:
    """Who it is and where it answers are its own words."""
    found = asyncio.run(ask_node("http://127.44.3.7:8080", asking()))
    assert (found.identity.serial, found.hosts) == ("SW-7", ("127.44.3.7",))
    assert found.told_by == "the node itself"


def test_what_can_not_be_asked_is_said() -> None:
    """Nobody there; no URL; an answer that is no node's."""
    with pytest.raises(Unreachable):
        asyncio.run(ask_registry("http://127.44.3.99:8080", asking()))
    with pytest.raises(CallError):
        asyncio.run(ask_registry("the registry", asking()))
    odd = httpx.MockTransport(lambda _: httpx.Response(200, json=[]))
    with pytest.raises(Broken):
        asyncio.run(ask_node("http://127.44.3.7", Asking(network=odd, patience=ONCE)))


def test_an_answer_that_never_ends_is_bounded() -> None:
    """A registry is believed more bytes than a device, and not all there are."""

    async def endless(_request: httpx.Request) -> httpx.Response:
        async def body() -> AsyncIterator[bytes]:
            while True:
                yield b"[" * 1024 * 1024

        return httpx.Response(200, content=body())

    network = httpx.MockTransport(endless)
    with pytest.raises(Broken):
        asyncio.run(ask_node("http://127.44.3.7", Asking(network=network, patience=ONCE)))
