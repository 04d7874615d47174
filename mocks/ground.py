"""The ground that a simulated world stands on: where each device stands, and who is told what.

Everything here is called with the world's lock held.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field

from mocks.agenda import Act, Agenda
from mocks.clock import Clock
from mocks.device import Device
from mocks.exchange import Begun, Exchange
from mocks.faults import Armed
from mocks.journal import Asked, Cause, Change, Observer, without
from mocks.state import Memory

LOG_LENGTH = 100_000
FOREVER = float("inf")


@dataclass
class Standing:
    """A device and how it is connected: its cable, since when it is where it is, its faults."""

    device: Device
    since: int
    cable: bool = True
    away_until: float = 0.0
    refuses_until: float = 0.0
    faults: list[Armed] = field(default_factory=list)
    requests: int = 0
    writes: int = 0

    def reachable(self, now: float) -> bool:
        """Whether anything sent to it arrives."""
        return self.cable and self.away_until <= now and self.refuses_until <= now


class Ground:
    """The devices where they stand, what is due, the log, and the observers."""

    def __init__(self, devices: Iterable[Device], clock: Clock) -> None:
        self.clock = clock
        self.agenda = Agenda()
        self.observers: list[Observer] = []
        self.log: deque[Asked] = deque(maxlen=LOG_LENGTH)
        self._arrivals = 0
        self.standing = {device.unit.name: Standing(device, self.arrival()) for device in devices}

    def arrival(self) -> int:
        """A number that grows each time somebody comes to an address."""
        self._arrivals += 1
        return self._arrivals

    def run_due(self) -> None:
        """Do all that is due."""
        self.agenda.run(self.clock())

    def later(self, due: float, act: Act) -> None:
        """Put something on the agenda, and say so."""
        self.agenda.add(due, act)
        self.moved()

    def answering(self) -> dict[str, str]:
        """Each address at which somebody answers now, and who: whoever was there first."""
        now, found = self.clock(), dict[str, str]()
        for name, one in sorted(self.standing.items(), key=lambda item: item[1].since):
            if one.reachable(now):
                found.setdefault(one.device.memory.running.lan.address, name)
        return found

    def reboot(self, name: str, at: float, away_s: float) -> None:
        """Cycle a device's power at an instant; it is away for some seconds."""
        one = self.standing[name]
        before = one.device.memory
        one.device.reboot(at)
        one.away_until = at + away_s
        one.since = self.arrival()
        self.tell(at, name, Cause.REBOOT, before)
        self.later(one.away_until, lambda _due: self.moved())

    def refuse(self, name: str, until: float) -> None:
        """Have a device refuse connections until some time."""
        one = self.standing[name]
        one.refuses_until = max(one.refuses_until, until)
        if until == FOREVER:
            self.moved()
        else:
            self.later(until, lambda _due: self.moved())

    def tell(self, at: float, name: str, cause: Cause, before: Memory) -> None:
        """Tell the observers that a device's memory changed, if it did."""
        one = self.standing[name]
        after = one.device.memory
        if after == before:
            return
        for observer in tuple(self.observers):
            observer.changed(Change(at, name, cause, before, after))
        if before.running.lan.address != after.running.lan.address:
            one.since = self.arrival()
            self.moved()

    def moved(self) -> None:
        """Tell the observers that somebody may answer elsewhere, or that something is due."""
        for observer in tuple(self.observers):
            observer.moved()

    def note(self, begun: Begun, exchange: Exchange, at: float) -> None:
        """Count and log a request that has ended."""
        one, request = self.standing[begun.device], begun.request
        secret = one.device.unit.secret
        one.requests += 1
        one.writes += request.writes
        asked = Asked(
            at=at,
            device=begun.device,
            address=begun.address,
            method=request.method,
            path=without(secret, request.path.partition("?")[0]),
            body=without(secret, request.body.decode(errors="replace")),
            outcome=exchange.outcome,
            faults=tuple(str(fault.kind) for fault in begun.struck),
        )
        self.log.append(asked)
        for observer in tuple(self.observers):
            observer.asked(asked)
