"""What can go wrong with a simulated device, on purpose.

A fault says what happens (``kind``), to which requests (method, path prefix), from the how-manieth
of them on, and whether once or always. Faults are values; the world counts what they have met.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from mocks.messages import Request


class Kind(StrEnum):
    """What happens to a request that a fault strikes."""

    DELAY = "delay"  # nothing happens for `seconds`; then it is done and answered
    REFUSE = "refuse"  # refused, as all connections in the next `seconds` (always: for good)
    DROP_REQUEST = "drop-request"  # closed without an answer and without effect
    DROP_ANSWER = "drop-answer"  # done, then closed without an answer
    ERROR = "error"  # `status` (500); without effect, unless `effect`
    SIGN_IN = "sign-in"  # `status` (401 or 403), without effect
    BUSY = "busy"  # `status` (503, 429, 423) with Retry-After: `retry_after`, without effect
    WRONG_IDENTITY = "wrong-identity"  # the device gives `serial` as its own
    REBOOT_BEFORE = "reboot-before"  # power cycle instead of the effect; away for `seconds`
    REBOOT_AFTER = "reboot-after"  # done, then a power cycle; no answer; away for `seconds`
    SAYS_YES = "says-yes"  # answers as if it were done; it is not
    LATE = "late"  # answers as if it were done; it is done `seconds` later
    PART = "part"  # of a request with several parts, that of `slot` is refused with `status` (409)
    HALF_BODY = "half-body"  # done; the answer breaks off in the middle of its body
    TRICKLE = "trickle"  # done; the body takes `seconds` to arrive, in small parts
    CALL = "call"  # `do` is called before the request is looked at (another hand, a pulled cable)


_USUAL_STATUS = {Kind.ERROR: 500, Kind.SIGN_IN: 401, Kind.BUSY: 503, Kind.PART: 409}
_STATUSES = {
    Kind.ERROR: range(500, 600),
    Kind.SIGN_IN: (401, 403),
    Kind.BUSY: (503, 429, 423),
    Kind.PART: range(400, 600),
}


def _nothing() -> None:
    return None


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that goes wrong with one device.

    Attributes:
        kind: What happens.
        method: Only requests with this method; "" for any.
        path: Only requests whose path starts so; "" for any.
        nth: The first matching request that it strikes, from 1.
        always: Whether it strikes all that come after, too.
        seconds: How long; what it means depends on the kind.
        status: The HTTP status, for ``ERROR``, ``SIGN_IN``, ``BUSY`` and ``PART``; 0 for the
            usual one.
        retry_after: The text of Retry-After; "" for no such header.
        serial: For ``WRONG_IDENTITY``.
        slot: For ``PART``.
        effect: For ``ERROR``: the request is done all the same.
        do: For ``CALL``.
    """

    kind: Kind
    method: str = ""
    path: str = ""
    nth: int = 1
    always: bool = False
    seconds: float = 0.0
    status: int = 0
    retry_after: str = ""
    serial: str = ""
    slot: str = ""
    effect: bool = False
    do: Callable[[], object] = _nothing

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", Kind(self.kind))
        object.__setattr__(self, "status", self.status or _USUAL_STATUS.get(self.kind, 0))
        if self.nth < 1 or self.seconds < 0:
            raise ValueError("nth counts from 1, seconds from 0")
        if self.status and self.status not in _STATUSES.get(self.kind, ()):
            raise ValueError(f"status {self.status} does not go with {self.kind}")
        if (self.kind is Kind.WRONG_IDENTITY) != bool(self.serial):
            raise ValueError("serial goes with wrong-identity, and wrong-identity needs it")
        if (self.kind is Kind.PART) != bool(self.slot):
            raise ValueError("slot goes with part, and part needs it")
        if self.kind in (Kind.LATE, Kind.DELAY, Kind.TRICKLE) and not self.seconds:
            raise ValueError(f"{self.kind} needs seconds")

    def matches(self, request: Request) -> bool:
        """Whether a request is of the kind that it counts."""
        return self.method in ("", request.method) and request.path.startswith(self.path)

    @property
    def shuts_at_once(self) -> bool:
        """Whether the device refuses connections from the start, before any request."""
        return (
            self.kind is Kind.REFUSE
            and self.always
            and self.nth == 1
            and not self.method
            and not self.path
        )

    @classmethod
    def parse(cls, text: str) -> "Fault":
        """Read ``KIND[:name=value,...]``, as on the command line; ``always`` stands alone.

        Raises:
            ValueError: an unknown kind or argument, or a value that does not fit.
        """
        kind, _, rest = text.partition(":")
        if kind not in _SPOKEN:
            raise ValueError(f"no fault {kind!r}; there are {', '.join(_SPOKEN)}")
        arguments = dict(_argument(part) for part in rest.split(",") if part)
        return cls(Kind(kind), **arguments)


_SPOKEN = tuple(kind.value for kind in Kind if kind is not Kind.CALL)
_READ: dict[str, Callable[[str], Any]] = {
    "method": str.upper,
    "path": str,
    "nth": int,
    "seconds": float,
    "status": int,
    "retry_after": str,
    "serial": str,
    "slot": str,
}
_FLAGS = ("always", "effect")


def _argument(part: str) -> tuple[str, Any]:
    name, equals, value = part.partition("=")
    if name in _FLAGS and not equals:
        return name, True
    if name not in _READ or not equals:
        raise ValueError(f"{part!r} is none of {', '.join(_READ)} (name=value), {_FLAGS}")
    try:
        return name, _READ[name](value)
    except ValueError as error:
        raise ValueError(f"{name} can't be {value!r}") from error


@dataclass(frozen=True, slots=True)
class Armed:
    """A fault in place, and how many matching requests it has met."""

    fault: Fault
    met: int = 0

    def meet(self, request: Request) -> tuple["Armed", bool]:
        """Count a request: the fault from now on, and whether it strikes this one."""
        if not self.fault.matches(request):
            return self, False
        met = self.met + 1
        return replace(self, met=met), met == self.fault.nth or self.is_due(met)

    def is_due(self, met: int) -> bool:
        """Whether it strikes the request that is number ``met`` of those that match."""
        return self.fault.always and met >= self.fault.nth
