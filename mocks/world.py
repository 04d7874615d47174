"""The simulated world: devices, who answers at which address, faults, and what was asked.

It is edited like a world (``world.device("x").set_source("program-1", number=5)``,
``world.pull_cable("x")``, ``world.another_hand("x").set_destination(...)``), counts what it was
asked, and tells its observers each change at the instant of the change. It holds a lock: it may be
edited from a test while a server uses it in another thread. What is due later happens when anybody
next asks the world for anything, stamped with the time at which it was due.
"""

import threading
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from mocks.clock import Clock
from mocks.device import Device
from mocks.doing import perform
from mocks.exchange import Begun, Exchange, Fate
from mocks.faults import Armed, Fault, Kind
from mocks.ground import FOREVER, Ground, Standing
from mocks.handle import Handle
from mocks.journal import Asked, Cause, Observer
from mocks.load import WorldError, WorldFile, read_world, world_of
from mocks.messages import Request
from mocks.site import Site
from mocks.state import Memory, State

TAI_AHEAD_S = 37.0
"""Seconds by which TAI is ahead of UTC since 2017 (from memory: IERS bulletin C)."""


class World:
    """All simulated devices and what connects them. ``clock`` gives seconds."""

    def __init__(self, file: WorldFile, clock: Clock = time.monotonic) -> None:
        self.port = file.port
        self.site: Site = file.site
        self.clock = clock
        self._lock = threading.RLock()
        tai_at_zero = time.time() + TAI_AHEAD_S - clock() if clock is time.monotonic else 0.0
        for device in file.devices:
            device.tai_at_zero = tai_at_zero
            device.neighbours = self._connected
        self._ground = Ground(file.devices, clock)

    # Making one.

    @classmethod
    def load(cls, path: Path | str, clock: Clock = time.monotonic) -> "World":
        """Read a world file.

        Raises:
            WorldError: it can't be read, or anything in it is wrong.
        """
        try:
            text = Path(path).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise WorldError(str(path), f"can't be read: {error}") from error
        return cls(read_world(text, str(path)), clock)

    @classmethod
    def from_text(cls, text: str, clock: Clock = time.monotonic) -> "World":
        """Read a world from YAML text.

        Raises:
            WorldError: anything in it is wrong.
        """
        return cls(read_world(text), clock)

    @classmethod
    def from_mapping(cls, document: Mapping[str, Any], clock: Clock = time.monotonic) -> "World":
        """Read a world from plain dicts and lists.

        Raises:
            WorldError: anything in it is wrong.
        """
        return cls(world_of(document), clock)

    # Looking at it.

    @property
    def names(self) -> tuple[str, ...]:
        """The devices, in the order of the file."""
        return tuple(self._ground.standing)

    @property
    def log(self) -> tuple[Asked, ...]:
        """The requests that have ended, the oldest first (the last hundred thousand)."""
        with self._lock:
            return tuple(self._ground.log)

    def memories(self) -> dict[str, Memory]:
        """What each device has in its memory now."""
        with self._lock:
            self.run_due()
            return {name: one.device.memory for name, one in self._ground.standing.items()}

    def snapshot(self) -> dict[str, Any]:
        """The whole world as plain dicts; two are equal when nothing has changed.

        What was asked is not in it: to read is no change.
        """
        with self._lock:
            self.run_due()
            return {name: _plain(one) for name, one in self._ground.standing.items()}

    def answering(self) -> dict[str, str]:
        """Each address at which somebody answers now, and the name of the device that does.

        If several devices are at one address, the one that was there first answers.
        """
        with self._lock:
            self.run_due()
            return self._ground.answering()

    def requests(self, name: str) -> int:
        """How many requests have reached a device."""
        return self._of(name).requests

    def writes(self, name: str) -> int:
        """How many of them asked for a change."""
        return self._of(name).writes

    def observe(self, observer: Observer) -> None:
        """Tell ``observer`` of everything from now on."""
        with self._lock:
            self._ground.observers.append(observer)

    def forget(self, observer: Observer) -> None:
        """Tell ``observer`` nothing any more."""
        with self._lock:
            self._ground.observers.remove(observer)

    # Editing it.

    def device(self, name: str) -> Handle:
        """A handle to edit one device while building a world.

        Raises:
            KeyError: no such device.
        """
        return Handle(self, name, Cause.EDIT)

    def another_hand(self, name: str) -> Handle:
        """A handle to do what another person or program does to a device meanwhile.

        Raises:
            KeyError: no such device.
        """
        return Handle(self, name, Cause.ANOTHER_HAND)

    def machine(self, name: str) -> Device:
        """The device itself, to look at, with all done that was due.

        Raises:
            KeyError: no such device.
        """
        with self._lock:
            self.run_due()
            return self._of(name).device

    def alter(self, name: str, running: State, cause: Cause) -> None:
        """Put a device into a state by hand; it is saved where the make keeps changes at once.

        A test that is building its world (``EDIT``) always changes the saved state too.
        """
        with self._lock:
            self.run_due()
            device = self._of(name).device
            before = device.memory
            device.keep(running)
            if cause is Cause.EDIT:
                device.memory = Memory(running, running)
            self._ground.tell(self.clock(), name, cause, before)

    def pull_cable(self, name: str) -> None:
        """Disconnect a device. It still holds what it holds: no answer is not vacant."""
        with self._lock:
            self._of(name).cable = False
            self._ground.moved()

    def plug_in(self, name: str) -> None:
        """Connect a device again; it is the last one to come to its address."""
        with self._lock:
            one = self._of(name)
            one.cable, one.since = True, self._ground.arrival()
            self._ground.moved()

    def reboot(self, name: str, away_s: float = 0.0) -> None:
        """Cycle a device's power: it goes back to its saved state, and is away for a time."""
        with self._lock:
            self.run_due()
            self._ground.reboot(name, self.clock(), away_s)

    def add_fault(self, name: str, fault: Fault) -> None:
        """Make something go wrong with a device from now on; it counts requests from now."""
        with self._lock:
            one = self._of(name)
            one.faults.append(Armed(fault))
            if fault.shuts_at_once:
                self._ground.refuse(name, FOREVER)

    def clear_faults(self, name: str) -> None:
        """Take all faults of a device away; whoever was refusing answers again."""
        with self._lock:
            one = self._of(name)
            one.faults.clear()
            one.refuses_until = 0.0
            self._ground.moved()

    # Time.

    def next_due(self) -> float | None:
        """When the next thing is due, by the world's clock."""
        with self._lock:
            return self._ground.agenda.next_due()

    def run_due(self) -> None:
        """Do all that is due. Mounts with a timer call this; anybody else need not."""
        with self._lock:
            self._ground.run_due()

    # What mounts call.

    def begin(self, address: str, request: Request) -> Begun | None:
        """Take a request that came to an address; ``None``: nobody stands there."""
        with self._lock:
            name = self.answering().get(address)
            if name is None:
                return None
            one = self._of(name)
            met = [armed.meet(request) for armed in one.faults]
            one.faults = [armed for armed, _ in met]
            begun = Begun(name, address, request, tuple(a.fault for a, strikes in met if strikes))
            for fault in begun.struck:
                if fault.kind is Kind.CALL:
                    fault.do()
            return begun

    def finish(self, begun: Begun, at: float | None = None) -> Exchange:
        """Do a request that was taken, with all that goes wrong with it; ``at``: now."""
        with self._lock:
            instant = self.clock() if at is None else at
            if self.answering().get(begun.address) == begun.device:
                exchange = perform(self._ground, begun, instant)
            else:
                exchange = Exchange(Fate.CLOSED)  # it went away meanwhile
            self._ground.note(begun, exchange, instant)
            return exchange

    def finish_later(self, begun: Begun) -> None:
        """Do a request after its delay, for a client that has gone away meanwhile."""
        with self._lock:
            due = self.clock() + begun.delay_s
            self._ground.later(due, lambda at: self.finish(begun, at))

    def _connected(self) -> list[Device]:
        return [one.device for one in self._ground.standing.values() if one.cable]

    def _of(self, name: str) -> Standing:
        return self._ground.standing[name]


def _plain(one: Standing) -> dict[str, Any]:
    unit = one.device.unit
    return {
        "make": one.device.make,
        "model": unit.model,
        "serial": unit.serial,
        "firmware": unit.firmware,
        "cable": one.cable,
        **one.device.memory.as_dict(),
    }
