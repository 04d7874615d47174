import asyncio

import httpx
import pytest
import respx

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.under_respx import mount
from mocks.world import World

AUTH = httpx.BasicAuth("engineer", "north-secret")


def test_a_router_leads_to_the_world(world: World, clock: HandClock, net: str) -> None:
    """Clients of both kinds are answered by the devices; respx counts the calls."""
    with respx.mock() as router:
        route = mount(world, router, clock.advance)
        response = httpx.get(f"http://{net}.31/unit", auth=AUTH)
        assert response.json()["serial"] == "CV-1"

        async def talk() -> int:
            async with httpx.AsyncClient(auth=AUTH) as client:
                return (await client.get(f"http://{net}.31/lan")).status_code

        assert asyncio.run(talk()) == 200
        assert route.call_count == 2
        with pytest.raises(httpx.ConnectError):
            httpx.get(f"http://{net}.99/unit", auth=AUTH)
        world.add_fault("north", Fault(Kind.HALF_BODY))
        with pytest.raises(httpx.RemoteProtocolError):
            httpx.get(f"http://{net}.31/unit", auth=AUTH)
