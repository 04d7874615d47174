"""A simulated RESTCONF host on its own, and ways to ask it."""

import base64
import json
from typing import Any

from mocks.clock import HandClock
from mocks.messages import Request, Response
from mocks.restconf.device import Restconf
from mocks.restconf.server import ROOT
from mocks.world import World

ADDRESS, GATEWAY = "127.44.3.41", "127.44.3.254"
DATA = f"{ROOT}/data"
INTERFACES = f"{DATA}/ietf-interfaces:interfaces"
IPV4 = f"{INTERFACES}/interface=eth0/ietf-ip:ipv4"
YANG_DATA, YANG_PATCH = "application/yang-data+json", "application/yang-patch+json"

WORLD = """
networks: {media: {subnet: 127.44.3.0/24}}
devices:
  host:
    {make: restconf, model: SH-1, serial: SW-8, firmware: "1.0", address: 127.44.3.41, prefix: 24,
      gateway: 127.44.3.254, settle_s: 2, sign_in: {user: engineer, secret: invented-word}}
"""


def a_world() -> World:
    """A world with one host."""
    return World.from_text(WORLD, HandClock())


def a_host() -> Restconf:
    """The host of such a world."""
    device = a_world().machine("host")
    assert isinstance(device, Restconf)
    return device


def ask(
    host: Restconf, method: str, path: str, body: Any = None, kind: str = YANG_DATA, **more: str
) -> Response:
    """Ask it something, signed in; ``more`` are headers."""
    data = b"" if body is None else json.dumps(body).encode()
    pair = base64.b64encode(b"engineer:invented-word").decode()
    headers = {"host": f"{ADDRESS}:8080", "authorization": f"Basic {pair}"}
    if body is not None:
        headers["content-type"] = kind
    headers |= {name.replace("_", "-"): value for name, value in more.items()}
    return host.handle(Request(method, path, headers, data))


def tag_of(response: Response) -> str:
    """An answer's entity tag."""
    return dict(response.headers)["etag"]


def error_of(response: Response) -> dict[str, str]:
    """The one error of an error document."""
    (error,) = response.json["ietf-restconf:errors"]["error"]
    found: dict[str, str] = error
    return found


def config_of(host: Restconf) -> dict[str, Any]:
    """Its whole configuration."""
    answered = ask(host, "GET", f"{DATA}?content=config").json
    held: dict[str, Any] = answered["ietf-restconf:data"]
    return held
