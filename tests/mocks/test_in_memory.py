import asyncio

import httpx
import pytest

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.in_memory import InMemory
from mocks.world import World

AUTH = httpx.BasicAuth("engineer", "north-secret")


def test_async_client(world: World, clock: HandClock, net: str) -> None:
    """An asynchronous client is answered, made to wait, and let down like a synchronous one."""

    async def talk() -> None:
        transport = InMemory(world, async_sleep=clock.sleep)
        async with httpx.AsyncClient(
            transport=transport, auth=AUTH, base_url=f"http://{net}.31"
        ) as client:
            assert (await client.get("/unit")).json()["serial"] == "CV-1"
            world.add_fault("north", Fault(Kind.DELAY, seconds=1))
            await client.get("/unit")
            assert clock() == 101.0
            world.add_fault("north", Fault(Kind.DELAY, seconds=2))
            with pytest.raises(httpx.ReadTimeout):
                await client.patch("/streams/program-1", json={"title": "New"}, timeout=1)
            assert world.device("north").source("program-1").label == "N-1"
            await clock.sleep(1)
            assert (await client.get("/streams")).json()["streams"][0]["title"] == "New"
            world.add_fault("north", Fault(Kind.TRICKLE, seconds=2))
            assert (await client.get("/unit")).status_code == 200
            world.add_fault("north", Fault(Kind.DROP_ANSWER))
            with pytest.raises(httpx.ReadError):
                await client.get("/unit")
            with pytest.raises(httpx.ConnectError):
                await client.get(f"http://{net}.99/unit")

    asyncio.run(talk())


def test_port_and_scheme(world: World, net: str) -> None:
    """Only the world's port answers (0: any does), and only plain HTTP."""
    with httpx.Client(transport=InMemory(world), auth=AUTH) as client:
        assert client.get(f"http://{net}.31:9999/unit").status_code == 200
        world.port = 8080
        assert client.get(f"http://{net}.31:8080/unit").status_code == 200
        for url in (f"http://{net}.31/unit", f"https://{net}.31:8080/unit"):
            with pytest.raises(httpx.ConnectError):
                client.get(url)


def test_real_sleep_is_the_default(world: World, net: str) -> None:
    """Without a sleep of its own the transport waits for real."""
    world.add_fault("north", Fault(Kind.DELAY, seconds=0.01))
    with httpx.Client(transport=InMemory(world), auth=AUTH) as client:
        response = client.get(f"http://{net}.31/unit")
    assert response.elapsed.total_seconds() >= 0.01
