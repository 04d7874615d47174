"""The devices of the benchmark ``makespan``: simulated units, each at a loopback address.

Run as a program it serves so many of them in a process of its own. The units are those of
``mocks``; the wire is as lean as can be, so that it is not what is measured: a request is parsed by
its bare shape, done, and answered 50 ms after it came.
"""

import asyncio
import json
import sys
from functools import partial
from typing import Any

from mocks.device import Device
from mocks.messages import Request
from mocks.world import World

ANSWER_S = 0.05
PORT = 8146
USER, SECRET = "engineer", "invented-gull-on-a-wire"


def address(n: int) -> str:
    """The address of unit ``n``, from 0."""
    host = n + 10
    return f"127.46.{host >> 8}.{host & 255}"


class Units:
    """So many units; each one's input listens to the next one's output."""

    def __init__(self, count: int) -> None:
        self.names = [f"unit-{n:03}" for n in range(count)]

    def number(self, n: int) -> int:
        """The number of unit ``n``: the first of its own ten."""
        return (n + 10) * 10 + 1

    def heard(self, n: int) -> str:
        """Whom unit ``n`` listens to."""
        return self.names[(n + 1) % len(self.names)]

    def world(self) -> World:
        """All of them, as the simulation has them."""
        return World.from_mapping(
            {
                "port": PORT,
                "networks": {"media": {"subnet": "127.46.0.0/16"}},
                "devices": {name: self._unit(n, name) for n, name in enumerate(self.names)},
            }
        )

    def _unit(self, n: int, _name: str) -> dict[str, Any]:
        heard = (n + 1) % len(self.names)
        return {
            "make": "corvid",
            "model": "CE-40",
            "serial": f"CV-{n:05}",
            "firmware": "4.1.2",
            "address": address(n),
            "prefix": 16,
            "sign_in": {"user": USER, "secret": SECRET},
            "sources": {"program-1": {"number": self.number(n), "enabled": True}},
            "destinations": {"codec-1": {"number": self.number(heard)}},
        }


class Served(asyncio.Protocol):
    """One connection to a unit. ``sent`` is the list of all requests that any of them got."""

    def __init__(self, device: Device, at: str, sent: list[dict[str, str]]) -> None:
        self._device, self._at, self._sent = device, at, sent
        self._data = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Keep the way back."""
        assert isinstance(transport, asyncio.WriteTransport)
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        """Take whatever requests are whole."""
        self._data += data
        while b"\r\n\r\n" in self._data:
            head, _, rest = self._data.partition(b"\r\n\r\n")
            lines = head.decode("latin-1").split("\r\n")
            pairs = (line.split(":", 1) for line in lines[1:])
            headers = {name.lower(): value.strip() for name, value in pairs}
            length = int(headers.get("content-length", 0))
            if len(rest) < length:
                return
            self._data = rest[length:]
            method, path, _ = lines[0].split(" ")
            self._take(Request(method, path, headers, rest[:length]))

    def _take(self, request: Request) -> None:
        if request.path == "/begin":
            self._sent.clear()
        elif request.path != "/sent":
            self._sent.append(
                {
                    "at": self._at,
                    "method": request.method,
                    "path": request.path,
                    "body": request.body.decode(),
                }
            )
            answer = self._device.handle(request)
            asyncio.get_running_loop().call_later(ANSWER_S, self._say, answer.status, answer.body)
            return
        self._say(200, json.dumps(self._sent).encode())

    def _say(self, status: int, body: bytes) -> None:
        head = (
            f"HTTP/1.1 {status} X\r\nContent-Type: application/json\r\nContent-Length: {len(body)}"
        )
        self._transport.write(head.encode() + b"\r\n\r\n" + body)


async def serve(count: int) -> None:
    """Serve so many units until the process ends."""
    units = Units(count)
    world = units.world()
    sent: list[dict[str, str]] = []
    loop = asyncio.get_running_loop()
    servers = []
    for n, name in enumerate(units.names):
        serving = partial(Served, world.machine(name), address(n), sent)
        servers.append(await loop.create_server(serving, address(n), PORT, backlog=128))
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(serve(int(sys.argv[1])))
