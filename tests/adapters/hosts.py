"""A simulated RESTCONF host in memory, and talks with it."""

import json
from collections.abc import Callable
from typing import Any

from mocks.clock import HandClock
from mocks.messages import Request as MockRequest
from mocks.restconf.device import Restconf as MockHost
from mocks.restconf.server import RestconfServer
from mocks.world import World
from orchestrator.adapters.http.messages import Party, Request, Response

ADDRESS, GATEWAY = "127.44.3.71", "127.44.3.254"
PARTY = Party(device="rack-node", address=ADDRESS)
SIGNED = "Bearer invented-word"
WORLD = """
networks: {media: {subnet: 127.44.3.0/24}, far: {subnet: 127.45.3.0/24}}
devices:
  rack-node:
    {make: restconf, model: SH-1, serial: SW-7, firmware: "1.0", address: 127.44.3.71, prefix: 24,
      gateway: 127.44.3.254, settle_s: 1, sign_in: {secret: invented-word}}
"""


def a_world() -> World:
    """A world with one host."""
    return World.from_text(WORLD, HandClock())


def server_of(world: World) -> RestconfServer:
    """The host's server."""
    device = world.machine("rack-node")
    assert isinstance(device, MockHost)
    return device.restconf


def answer_of(
    server: RestconfServer, change: Callable[[Request, Response], Response] | None = None
) -> Callable[[Request], Response]:
    """Answer as the host does; ``change`` may alter what it says."""

    def answer(request: Request) -> Response:
        body = b"" if request.body is None else json.dumps(request.body).encode()
        headers = {name.lower(): value for name, value in request.headers}
        headers |= {"authorization": SIGNED, "content-type": request.content_type}
        found = server.handle(MockRequest(request.method, request.path, headers, body))
        response = Response(status=found.status, headers=dict(found.headers), body=found.body)
        response = change(request, response) if change else response
        fine = response.status < 300 or response.status in request.also_fine
        assert fine, (request.method, request.path, response.body)
        return response

    return answer


def refusing(
    server: RestconfServer, method: str, status: int, body: Any
) -> Callable[[Request], Response]:
    """Answer requests of one method with that, and all others as the host does."""
    answer = answer_of(server)

    def instead(request: Request) -> Response:
        if request.method != method:
            return answer(request)
        return Response(status=status, body=json.dumps(body).encode())

    return instead
