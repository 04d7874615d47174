"""What the edges fulfil. The machine's side owns these, so that imports point inward."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from enum import StrEnum
from typing import Protocol

from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import Step
from orchestrator.facility.traits import Traits
from orchestrator.running.events import Event
from orchestrator.running.record import RunRecord


class Part(StrEnum):
    """A part of a device's state that can be read by itself. Identity is always read too."""

    INTERFACES = "interfaces"
    SOURCES = "sources"
    DESTINATIONS = "destinations"
    SETTINGS = "settings"
    UNSAVED = "unsaved"


EVERYTHING = frozenset(Part)


class DeviceAdapter(Protocol):
    """One device at one address. Every method may raise the errors of ``DeviceError``'s family."""

    @property
    def traits(self) -> Traits:
        """What it can do."""
        ...

    async def identify(self) -> Identity:
        """Ask who it is. Called before anything else is sent."""
        ...

    async def read(self, parts: frozenset[Part] = EVERYTHING) -> DeviceState:
        """Read its identity and the given parts; parts not asked for stand empty."""
        ...

    async def write(self, step: Step, *more: Step) -> None:
        """Send one step's write, once; with ``more``, those of all of them in one request.

        ``more`` is given only as its traits' batches allow it: no step waits for another.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            PartlyRefused: the device answered for each of several steps apart.
            DeviceError: surely not done, none of it.
        """
        ...

    async def close(self) -> None:
        """Let go of its connections."""
        ...


class OpenAdapter(Protocol):
    """Opens the way to a device of the plan at an address; nothing is sent yet."""

    def __call__(self, device: str, address: str) -> DeviceAdapter:
        """Give the adapter of ``device``, speaking to ``address``."""
        ...


class ProbeAddress(Protocol):
    """Looks whether anything answers at an address."""

    async def __call__(self, device: str, address: str) -> str | None:
        """What answered, in words; None if nothing did. ``device`` tells which port to try."""
        ...


class Recorder(Protocol):
    """Where a run's events go. What was given is on disk when the call returns.

    It may be called from another thread than the one that made it, by one at a time.
    """

    def append(self, run: str, events: Iterable[Event], at: datetime) -> None:
        """Store events of a run, in order."""
        ...


class Ledger(Recorder, Protocol):
    """Where runs are recorded. Everything given to it is on disk when the call returns."""

    def begin(self, record: RunRecord) -> None:
        """Store a new run with the states of its devices."""
        ...

    def record(self, run: str) -> RunRecord:
        """Give a run back.

        Raises:
            LedgerError: no such run.
        """
        ...

    def events(self, run: str) -> Sequence[Event]:
        """All events of a run, oldest first."""
        ...


class Clock(Protocol):
    """The time, and how to let it pass."""

    def now(self) -> datetime:
        """The time, with its offset."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Let time pass."""
        ...


class Reporter(Protocol):
    """Is told what happens while it happens; never decides anything."""

    def step_started(self, step: Step) -> None:
        """A step's intent is stored."""
        ...

    def stored(self, event: Event) -> None:
        """An event is in the ledger."""
        ...


class Person(Protocol):
    """Whoever answers questions of safety."""

    async def ask(self, question: str, text: Sequence[str]) -> tuple[bool, str]:
        """Go or no-go, and who said so."""
        ...
