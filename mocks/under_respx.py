"""The simulated world under respx: a side effect for a respx router.

::

    with respx.mock() as router:
        mount(world, router)

respx itself is needed only by whoever passes a router in.
"""

import time
from typing import Any

import httpx

from mocks.in_memory import InMemory, Sleep
from mocks.world import World


def mount(world: World, router: Any, sleep: Sleep = time.sleep) -> Any:
    """Have a respx router answer every request from a simulated world; gives the route back.

    The route keeps respx's own record of calls. Delays pass by ``sleep``, in both kinds of client.
    """
    transport = InMemory(world, sleep=sleep)

    def respond(request: httpx.Request) -> httpx.Response:
        response = transport.handle_request(request)
        response.read()
        return httpx.Response(
            response.status_code, headers=response.headers, content=response.content
        )

    return router.route().mock(side_effect=respond)
