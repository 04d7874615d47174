"""A simulated NMOS node on its own, and ways to ask it."""

import json
from typing import Any

from mocks.clock import HandClock
from mocks.messages import Request, Response
from mocks.nmos.node import Nmos
from mocks.world import World

ADDRESS, SECOND = "127.44.3.41", "127.45.3.41"
GROUP, OTHER = "239.194.1.155:5004", "239.194.1.200:5004"
SINGLE = "/x-nmos/connection/v1.1/single"
NOW = {"mode": "activate_immediate"}

WORLD = """
networks: {{media: {{subnet: 127.44.3.0/24}}}}
devices:
  node:
    {{make: nmos, model: SN-2, serial: SW-7, firmware: "1.0", address: {address}, prefix: 24{more},
      sources: {{program: {{number: 411, label: PGM, enabled: true}}, spare: {{label: Spare}}}},
      destinations: {{monitor: {{group: "{group}", label: MON}}, codec: {{}}}}}}
"""


def a_world(*, legs: int = 1) -> World:
    """A world with one node, of one leg or two."""
    more = f", second_leg: {SECOND}" if legs > 1 else ""
    return World.from_text(WORLD.format(address=ADDRESS, group=GROUP, more=more), HandClock())


def a_node(*, legs: int = 1) -> Nmos:
    """The node of such a world."""
    device = a_world(legs=legs).machine("node")
    assert isinstance(device, Nmos)
    return device


def ask(node: Nmos, method: str, path: str, body: Any = None, at: float = 0.0) -> Response:
    """Ask it something."""
    data = b"" if body is None else json.dumps(body).encode()
    headers = {"host": f"{ADDRESS}:8080"}
    if body is not None:
        headers["content-type"] = "application/json"
    return node.handle(Request(method, path, headers, data, at))


def place(node: Nmos, kind: str, label: str) -> str:
    """The path of a sender or receiver in the Connection API, by its label."""
    listed = ask(node, "GET", f"/x-nmos/node/v1.3/{kind}").json
    own = next(one["id"] for one in listed if one["label"] == label)
    return f"{SINGLE}/{kind}/{own}"


def staging(node: Nmos, where: str, body: Any, at: float = 0.0) -> Response:
    """PATCH what is staged."""
    return ask(node, "PATCH", f"{where}/staged", body, at)


def legs_of(node: Nmos, where: str, what: str = "active") -> list[dict[str, Any]]:
    """The transport parameters as they are active, or staged."""
    legs: list[dict[str, Any]] = ask(node, "GET", f"{where}/{what}").json["transport_params"]
    return legs
