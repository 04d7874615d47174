"""What a simulated device receives and answers: plain frozen values, no sockets and no clock.

A device can't wait: where something is to happen later (an address that takes effect after it has
settled), its response carries ``later``, and whoever mounts the device performs it in time.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import unquote

from mocks.state import Lan

READS = frozenset({"GET", "HEAD", "OPTIONS"})


@dataclass(frozen=True, slots=True)
class Request:
    """One HTTP request as a device sees it.

    ``path`` is the request target as it stood on the wire (percent-encoded, perhaps with a
    query); header names are lower case; ``at`` is the mount's clock in seconds. ``refused`` are
    slots, each with a status, whose part the device refuses where the request has several parts.
    """

    method: str
    path: str
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""
    at: float = 0.0
    refused: Mapping[str, int] = field(default_factory=dict)

    @property
    def segments(self) -> tuple[str, ...]:
        """The path's segments, each percent-decoded on its own, without the query."""
        bare = self.path.partition("?")[0]
        return tuple(unquote(part) for part in bare.split("/")[1:])

    @property
    def writes(self) -> bool:
        """Whether the method asks for a change (RFC 9110, 9.2.1: all but the safe methods)."""
        return self.method not in READS


@dataclass(frozen=True, slots=True)
class Settle:
    """An accepted address that is to take effect now; void if the device has thought otherwise."""

    lan: Lan


@dataclass(frozen=True, slots=True)
class Activate:
    """What was staged for ``what`` is to take effect now; void if ``due`` is no longer its time."""

    what: str
    due: str


@dataclass(frozen=True, slots=True)
class Restart:
    """The device restarts now, with what it had saved, and is away for some seconds."""

    away_s: float


Act = Settle | Activate | Restart


@dataclass(frozen=True, slots=True)
class Later:
    """``act`` is to be performed on the device ``after_s`` seconds after the response."""

    after_s: float
    act: Act


@dataclass(frozen=True, slots=True)
class Response:
    """One HTTP response: status, headers, a body in bytes, and what is to happen later."""

    status: int
    headers: tuple[tuple[str, str], ...] = ()
    body: bytes = b""
    later: tuple[Later, ...] = ()

    @property
    def json(self) -> Any:
        """The body, read as JSON."""
        return json.loads(self.body)


def answer(
    status: int,
    body: object,
    headers: tuple[tuple[str, str], ...] = (),
    later: tuple[Later, ...] = (),
) -> Response:
    """Make a JSON response of ``body``."""
    kind = (("content-type", "application/json"),)
    return Response(status, kind + headers, json.dumps(body).encode(), later)


class Problem(Exception):
    """A request that the device won't do: ``response`` says why. Never leaves the device."""

    def __init__(self, status: int, what: str, headers: tuple[tuple[str, str], ...] = ()) -> None:
        super().__init__(what)
        self.response = answer(status, {"problem": what}, headers)
