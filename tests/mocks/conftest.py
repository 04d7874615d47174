"""A small world for the tests of the simulated devices, and ways to ask its devices."""

import itertools
import os
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from mocks.clock import HandClock
from mocks.in_memory import InMemory
from mocks.world import World

Ask = Callable[..., httpx.Response]
_COUNT = itertools.count()

WORLD = """
port: {port}
networks:
  media: {{subnet: {net}.0/25, transit: {{numbers: 2990-2999, addresses: [{net}.100-{net}.109]}}}}
  bench: {{subnet: {net}.128/25, bench: true}}
off_limits: [alert]
on_air: [feed/1]
meant: {{south/codec-1: [fresh/program-1]}}
devices:
  north:
    {{make: corvid, model: CE-40, serial: CV-1, firmware: 4.1.2, address: {net}.31, prefix: 25,
      gateway: {net}.1, sign_in: {{user: engineer, secret: north-secret}},
      sources:
        {{program-1: {{number: 311, label: N-1, enabled: true}}, program-2: {{number: 312}}}},
      destinations: {{codec-1: {{number: 421, label: From node}}}}}}
  south:
    {{make: corvid, model: CE-40, serial: CV-2, firmware: 4.1.2, address: {net}.32, prefix: 25,
      sign_in: {{user: engineer, secret: south-secret}},
      sources: {{program-1: {{number: 321, enabled: true}}}},
      destinations: {{codec-1: {{number: 311}}}}}}
  node:
    {{make: tamarisk, model: TN-8, serial: TM-1, firmware: "2.7", address: {net}.42, prefix: 25,
      sign_in: {{secret: node-secret}},
      sources: {{"1": {{number: 421, enabled: true}}, "2": {{number: 422}}}},
      destinations: {{"1": {{group: "239.194.1.55:5004"}}}}}}
  feed:
    {{make: tamarisk, model: TN-8, serial: TM-2, firmware: "2.7", address: {net}.71, prefix: 25,
      sign_in: {{secret: feed-secret}}, destinations: {{"1": {{group: "239.194.1.55:5004"}}}}}}
  alert:
    {{make: tamarisk, model: TN-8, serial: TM-3, firmware: "2.7", address: {net}.61, prefix: 25,
      sign_in: {{secret: alert-secret}}, sources: {{"1": {{number: 611, enabled: true}}}}}}
  fresh:
    {{make: corvid, model: CE-40, serial: CV-9, firmware: 4.1.2, address: {net}.150, prefix: 25,
      sign_in: {{user: engineer, secret: fresh-secret}},
      sources: {{program-1: {{number: 1, enabled: true}}}},
      destinations: {{codec-1: {{number: 1}}}}}}
"""


@pytest.fixture
def net() -> str:
    """The first three octets of a loopback network that no other test uses at the same time."""
    return f"127.{80 + os.getpid() % 150}.{next(_COUNT) % 250}"


@pytest.fixture
def world_text(net: str) -> str:
    """The small world, at a port to be picked."""
    return WORLD.format(net=net, port=0)


@pytest.fixture
def clock() -> HandClock:
    """A clock that the test moves."""
    return HandClock(100.0)


@pytest.fixture
def world(world_text: str, clock: HandClock) -> World:
    """The small world, on the clock that the test moves."""
    return World.from_text(world_text, clock)


def sign_in(world: World, name: str) -> dict[str, Any]:
    """What a request to a device needs to be let in."""
    device = world.machine(name)
    if device.make == "corvid":
        return {"auth": httpx.BasicAuth(device.unit.user, device.unit.secret)}
    return {"headers": {"X-Node-Key": device.unit.secret}}


@pytest.fixture
def signed() -> Callable[[World, str], dict[str, Any]]:
    """The function that gives a request's sign-in."""
    return sign_in


@pytest.fixture
def ask(world: World, clock: HandClock) -> Ask:
    """Ask a device of the small world in memory: name, method, path, body, and httpx's options."""
    transport = InMemory(world, sleep=clock.advance, async_sleep=clock.sleep)

    def send(
        name: str, method: str, path: str, body: object = None, **options: Any
    ) -> httpx.Response:
        address = world.device(name).address
        with httpx.Client(transport=transport, **sign_in(world, name)) as client:
            if body is not None:
                options["json"] = body
            return client.request(method, f"http://{address}{path}", **options)

    return send
