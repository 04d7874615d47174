"""Simulated devices behind the protocols of a run: adapters, ledger, clock, reporter, person."""

import asyncio
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from orchestrator.errors import DeviceError, Unreachable
from orchestrator.facility.found import DeviceState, Identity, InterfaceState
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.facility.traits import Traits
from orchestrator.running.events import Event
from orchestrator.running.protocols import EVERYTHING, Part
from orchestrator.running.record import RunRecord

TRAITS = Traits(can=frozenset(StepKind), models=("M-1",))


class Clock:
    """A clock that passes time at once."""

    def __init__(self) -> None:
        self.time = datetime(2026, 3, 1, 2, 0, tzinfo=UTC)
        self.slept: list[float] = []

    def now(self) -> datetime:
        """The time."""
        return self.time

    async def sleep(self, seconds: float) -> None:
        """Pass it."""
        self.slept.append(seconds)
        self.time += timedelta(seconds=seconds)
        await asyncio.sleep(0)


class Ledger:
    """A ledger in memory; ``rounds`` are the calls."""

    def __init__(self) -> None:
        self.rounds: list[tuple[Event, ...]] = []

    def begin(self, record: RunRecord) -> None:
        """Not needed here."""
        raise NotImplementedError

    def record(self, run: str) -> RunRecord:
        """Not needed here."""
        raise NotImplementedError

    def append(self, run: str, events: Iterable[Event], at: datetime) -> None:
        """Keep them."""
        assert (run, at.tzinfo) == ("r1", UTC)
        self.rounds.append(tuple(events))

    def events(self, run: str) -> Sequence[Event]:
        """All of them."""
        assert run == "r1"
        return [event for events in self.rounds for event in events]


class Reporter:
    """Remembers what it is told."""

    def __init__(self) -> None:
        self.started: list[str] = []
        self.events: list[Event] = []

    def step_started(self, step: Step) -> None:
        """Remember it."""
        self.started.append(step.id)

    def stored(self, event: Event) -> None:
        """Remember it."""
        self.events.append(event)


class Person:
    """Says go, or what it is told to."""

    def __init__(self, *, go: bool = True) -> None:
        self.go = go
        self.asked: list[str] = []

    async def ask(self, question: str, text: Sequence[str]) -> tuple[bool, str]:
        """Answer."""
        assert text
        self.asked.append(question)
        return self.go, "M. Okafor"


class Silent(Person):
    """Never answers. ``put`` is set once a question is put."""

    def __init__(self) -> None:
        super().__init__()
        self.put = asyncio.Event()

    async def ask(self, question: str, text: Sequence[str]) -> tuple[bool, str]:
        """Wait for ever."""
        await super().ask(question, text)
        self.put.set()
        await asyncio.Event().wait()
        raise AssertionError


Fault = Callable[[str, str], Exception | None]


@dataclass
class Net:
    """Devices by the address at which they answer.

    ``fault`` is asked before each request (what, device) for an error to raise; after a write
    has landed it is asked once more, for ``answer``.
    """

    units: dict[str, DeviceState]
    fault: Fault = field(default=lambda _what, _device: None)
    before: Callable[[str, str], None] = field(default=lambda _what, _device: None)
    opened: list[tuple[str, str]] = field(default_factory=list)
    closed: list[tuple[str, str]] = field(default_factory=list)
    parts: list[frozenset[Part]] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    traits: Traits = TRAITS
    at_once: int = 0
    most_at_once: int = 0

    def open(self, device: str, address: str) -> "Adapter":
        """Open the way to a device."""
        self.opened.append((device, address))
        return Adapter(self, device, address, self.traits)

    async def probe(self, device: str, address: str) -> str | None:
        """See whether anything answers."""
        await asyncio.sleep(0)
        return f"{device}'s neighbour" if address in self.units else None


@dataclass
class Adapter:
    """One device at one address."""

    net: Net
    device: str
    address: str
    traits: Traits = TRAITS

    async def _request(self, what: str) -> DeviceState:
        net = self.net
        net.requests.append(f"{what} {self.device}")
        net.before(what, self.device)
        net.at_once += 1
        net.most_at_once = max(net.most_at_once, net.at_once)
        await asyncio.sleep(0)
        net.at_once -= 1
        if error := net.fault(what, self.device):
            raise error
        if self.address not in net.units:
            raise self.error(Unreachable)
        return net.units[self.address]

    def error(self, kind: type[DeviceError]) -> DeviceError:
        """An error of this device."""
        return kind(device=self.device, address=self.address, doing="testing")

    async def identify(self) -> Identity:
        """Who it is."""
        return (await self._request("identify")).identity

    async def read(self, parts: frozenset[Part] = EVERYTHING) -> DeviceState:
        """Its state."""
        self.net.parts.append(parts)
        return await self._request("read")

    async def write(self, step: Step, *more: Step) -> None:
        """Do it."""
        state = await self._request("write")
        changed = _changed(state, step)
        for other in more:
            changed = _changed(changed, other)
        if isinstance(step.wanted, AddressValue):
            del self.net.units[self.address]
            self.net.units[step.wanted.address] = changed
        else:
            self.net.units[self.address] = changed
        if error := self.net.fault("answer", self.device):
            raise error

    async def close(self) -> None:
        """Note it."""
        self.net.closed.append((self.device, self.address))


def _changed(state: DeviceState, step: Step) -> DeviceState:
    match step.wanted:
        case bool(enabled):
            return _source(state, step, enabled=enabled)
        case Assigned(number=number):
            return replace(_source(state, step, number=number), unsaved=True)
        case Hearing(number=number):
            held = replace(state.destinations[step.destination or ""], hears=number)
            return replace(state, destinations={**state.destinations, step.destination or "": held})
        case AddressValue() as held:
            interface = InterfaceState(
                address=held.address, prefix=held.prefix, gateway=held.gateway
            )
            return replace(state, interfaces={held.interface: interface})
        case None:
            return replace(state, unsaved=False)
        case value:
            return replace(state, settings={**state.settings, step.setting or "": value})


def _source(state: DeviceState, step: Step, **changes: object) -> DeviceState:
    held = replace(state.sources[step.source or ""], **changes)  # type: ignore[arg-type]  # real fields
    return replace(state, sources={**state.sources, step.source or "": held})
