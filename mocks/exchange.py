"""What becomes of one request, faults included: decided here, performed by the mounts.

A mount calls :meth:`mocks.world.World.begin`, waits ``delay_s``, calls ``finish``, and does what
the exchange says.
"""

from dataclasses import dataclass
from enum import StrEnum

from mocks.faults import Fault, Kind
from mocks.messages import Request, Response

PARTS = 8


class Fate(StrEnum):
    """How an exchange ends."""

    ANSWERED = "answered"
    REFUSED = "refused"  # no connection was made
    CLOSED = "closed without an answer"
    HALVED = "half the body"  # the head, half of the body, and the connection breaks
    TRICKLED = "slowly"  # the body in parts, over `seconds`


@dataclass(frozen=True, slots=True)
class Begun:
    """A request that was taken: by whom, and what is going to go wrong with it."""

    device: str
    address: str
    request: Request
    struck: tuple[Fault, ...] = ()

    @property
    def delay_s(self) -> float:
        """How long the mount has to wait before it finishes the request."""
        return sum(fault.seconds for fault in self.struck if fault.kind is Kind.DELAY)

    def first(self, *kinds: Kind) -> Fault | None:
        """The first fault of these kinds that strikes the request."""
        return next((fault for fault in self.struck if fault.kind in kinds), None)


@dataclass(frozen=True, slots=True)
class Exchange:
    """How a request ends: its fate, the response if there is one, and over how many seconds."""

    fate: Fate
    response: Response | None = None
    seconds: float = 0.0

    @property
    def outcome(self) -> str:
        """The status in words, for the log."""
        return str(self.fate) if self.response is None else str(self.response.status)


def in_parts(body: bytes) -> list[bytes]:
    """A body in at most eight parts of about the same size."""
    size = max(1, -(-len(body) // PARTS))
    return [body[start : start + size] for start in range(0, len(body), size)]
