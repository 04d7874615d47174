"""What a dialect asks for and what it is told: requests and responses as frozen values."""

from collections.abc import Generator, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from orchestrator.facility.description import Json
from orchestrator.facility.quick import quick

READING = frozenset({"GET", "HEAD", "OPTIONS"})
"""The methods that change nothing (safe methods, RFC 9110, 9.2.1), so far as they are used."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Party:
    """Who is spoken to: the device's name in the plan, and the address."""

    device: str
    address: str


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """One request to a device.

    ``path`` starts with a slash and may hold a query. ``doing`` says in words what it is for
    ("reading its sources"). ``body`` None: no body. ``also_fine`` are statuses beside 2xx that
    the dialect wants to see itself. ``overtaken`` are statuses beside 412 by which the device
    says that another hand was faster. ``port``: another port of the same device, where a part
    of what it offers stands; None: the port that it was opened at. ``follows``: another write of
    the same talk was taken before it, so whatever becomes of this one, that was not nothing.
    """

    method: str
    path: str
    doing: str
    body: Json = None
    content_type: str = "application/json"
    headers: tuple[tuple[str, str], ...] = ()
    also_fine: frozenset[int] = field(default=frozenset())
    overtaken: frozenset[int] = field(default=frozenset())
    port: int | None = None
    follows: bool = False

    @property
    def reads(self) -> bool:
        """True if it changes nothing on the device, so that it may be sent again."""
        return self.method in READING


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """One whole answer; header names in lower case."""

    status: int
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""


T = TypeVar("T")
Exchange = Generator[Request, Response, T]
"""A talk with a device: yields requests, receives responses, returns what was found."""
