"""The two alphabets of a run: what it asks for, and what it may be told.

Every operation names its answers:

=============  =================================================
``Store``      ``Stored``
``Read``       ``Saw``, ``Nobody``, ``Stranger``, ``ReadFailed``
``Write``      ``Accepted``, ``Refused``, ``Unsure``, ``Apart``
``Probe``      ``Vacant``, ``Answers``
``Wait``       ``Elapsed``
``Ask``        ``Reply``
``Look``       ``Looked``
``Rest``       ``Elapsed``
``ReadClock``  ``Moment``
=============  =================================================
"""

from collections.abc import Mapping
from dataclasses import dataclass

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import Step
from orchestrator.running.events import Event, Failure


@dataclass(frozen=True, slots=True)
class Store:
    """Store these events, in this order, before anything that follows from them is done."""

    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class Read:
    """Read what the step is about, identity included, at ``at``.

    ``rests`` are steps of the same device that it rests on: what they are about is read, too.
    """

    step: Step
    at: str
    rests: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True)
class Write:
    """Send the step's write, once, to ``at``; with ``more``, of all of them in one request."""

    step: Step
    at: str
    more: tuple[Step, ...] = ()

    @property
    def steps(self) -> tuple[Step, ...]:
        """All of them."""
        return (self.step, *self.more)


@dataclass(frozen=True, slots=True)
class Probe:
    """See whether anything at all answers at ``at``, the address that the step moves onto."""

    step: Step
    at: str


@dataclass(frozen=True, slots=True)
class Wait:
    """Let ``seconds`` pass; ``step`` is what waits."""

    step: Step
    seconds: float


@dataclass(frozen=True, slots=True)
class Ask:
    """Put a question of safety to a person: ``question`` is its name, ``text`` the words."""

    question: str
    text: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Look:
    """Read everything, and audit it: is all as it should be before ``phase``?"""

    phase: int


@dataclass(frozen=True, slots=True)
class Rest:
    """Let ``seconds`` pass before ``phase``, while nothing is done; it may be cut short."""

    phase: int
    seconds: float


@dataclass(frozen=True, slots=True)
class ReadClock:
    """Say what time it is, before ``phase``."""

    phase: int


Operation = Store | Read | Write | Probe | Wait | Ask | Look | Rest | ReadClock


@dataclass(frozen=True, slots=True)
class Stored:
    """The events are on disk.

    ``stale``: that took so long that what was read of a device meanwhile is no news any more.
    """

    stale: bool = False


@dataclass(frozen=True, slots=True)
class Saw:
    """The device meant answered, and this is its state (at least the parts asked for)."""

    state: DeviceState


@dataclass(frozen=True, slots=True)
class Nobody:
    """Nothing answered there."""

    said: str = ""


@dataclass(frozen=True, slots=True)
class Stranger:
    """Another device answered there."""

    said: str


@dataclass(frozen=True, slots=True)
class ReadFailed:
    """The device meant (or so it seems) is there but can't be read.

    ``retry_after_s``: for how long it asks to wait, if it said so.
    """

    why: Failure
    said: str
    retry_after_s: float | None = None


@dataclass(frozen=True, slots=True)
class Accepted:
    """The device said yes."""


@dataclass(frozen=True, slots=True)
class Refused:
    """The device surely did not do it: it said no, or was never reached.

    ``retry_after_s``: for how long it asks to wait, if it said so.
    """

    why: Failure
    said: str
    retry_after_s: float | None = None


@dataclass(frozen=True, slots=True)
class Unsure:
    """Sent, and no whole answer: it may have landed, or may land yet."""

    said: str


@dataclass(frozen=True, slots=True)
class Apart:
    """Of several steps in one request, what came of each, by its id."""

    of: Mapping[str, "Accepted | Refused | Unsure"]


@dataclass(frozen=True, slots=True)
class Vacant:
    """Nothing answers at that address now."""


@dataclass(frozen=True, slots=True)
class Answers:
    """Something answers at that address."""

    said: str = ""


@dataclass(frozen=True, slots=True)
class Elapsed:
    """The time has passed."""


@dataclass(frozen=True, slots=True)
class Reply:
    """Go, or no-go, and who said so."""

    go: bool
    by: str = ""


@dataclass(frozen=True, slots=True)
class Looked:
    """What the audit found, in words; nothing: all is as it should be."""

    findings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Moment:
    """The time now: ISO 8601, with an offset."""

    at: str


Outcome = (
    Stored | Saw | Nobody | Stranger | ReadFailed | Accepted | Refused | Unsure | Apart | Vacant
    | Answers | Elapsed | Reply | Looked | Moment
)  # fmt: skip

ANSWERS: Mapping[type[Operation], tuple[type[Outcome], ...]] = {
    Store: (Stored,),
    Read: (Saw, Nobody, Stranger, ReadFailed),
    Write: (Accepted, Refused, Unsure, Apart),
    Probe: (Vacant, Answers),
    Wait: (Elapsed,),
    Ask: (Reply,),
    Look: (Looked,),
    Rest: (Elapsed,),
    ReadClock: (Moment,),
}
"""What each operation may be told; anything else is refused."""
