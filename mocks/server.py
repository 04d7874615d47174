"""The simulated world on real loopback sockets: one HTTP/1.1 server per address that answers.

::

    with serve(world) as running:
        httpx.get(running.url("studio-north-engine", "/unit"))

It runs in a thread of its own with its own event loop. A device that moves stops being heard at its
old address (open connections break off) and is heard at the new one; a device without a cable, away
in a power cycle, or refusing has no listening socket. After an edit from outside,
``running.settle()`` waits until the sockets are what the world says.
"""

import asyncio
import contextlib
import socket
import ssl
import threading
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from mocks.doors import Aliases, CannotListen, Ports
from mocks.journal import Asked, Change
from mocks.wire import Wire
from mocks.world import World

PATIENCE_S = 10.0
_Place = tuple[str, int | None]
"""An address and a port; None: the port that all addresses have in common."""


@dataclass
class _Door:
    """A listening socket: who answers at it, its server, and the connections that came in."""

    device: str
    server: asyncio.Server
    wires: set[Wire] = field(default_factory=set)


class Running:
    """A world that is being served. It is made by :func:`serve`."""

    def __init__(
        self, world: World, doors: Aliases | Ports, tls: Mapping[str, ssl.SSLContext]
    ) -> None:
        self.world = world
        self._tls = tls
        for name in tls:
            world.machine(name).scheme = "https"
        self.problems: list[str] = []
        self._doors = doors
        self._open: dict[_Place, _Door] = {}
        self._loop = asyncio.new_event_loop()
        self._wake = asyncio.Event()
        self._one_at_a_time = asyncio.Lock()
        self._talks: set[asyncio.Task[None]] = set()
        self._ended = False

    # For whoever uses it, from any thread.

    @property
    def connect_map(self) -> Ports:
        """Address -> "127.0.0.1:port". An address that is asked for the first time gets a port.

        Raises:
            TypeError: the world is served at its own addresses.
        """
        if not isinstance(self._doors, Ports):
            raise TypeError("served at its own addresses: there is no connect map")
        return self._doors

    @property
    def port(self) -> int:
        """The port at which all addresses answer; with a connect map, the world's own."""
        return self._doors.port if isinstance(self._doors, Aliases) else self.world.port

    def where(self, name: str) -> tuple[str, int]:
        """Host and port to connect to for a device, as it stands now."""
        return self._doors.where(self.world.machine(name).memory.running.lan.address)

    def url(self, name: str, path: str = "") -> str:
        """A URL on a device, as it stands now."""
        host, port = self.where(name)
        return f"http://{host}:{port}{path}"

    def settle(self) -> None:
        """Wait until the sockets are what the world says now.

        Raises:
            TimeoutError: that took ten seconds.
        """
        asyncio.run_coroutine_threadsafe(self._reconcile(), self._loop).result(PATIENCE_S)

    # What the world tells.

    def changed(self, change: Change) -> None:
        """Nothing to do: who answers where is told by ``moved``."""

    def asked(self, asked: Asked) -> None:
        """Nothing to do."""

    def moved(self) -> None:
        """Look again who answers where."""
        if not self._ended:
            self._loop.call_soon_threadsafe(self._wake.set)

    # The thread.

    def run(self, ready: threading.Event) -> None:
        """Serve until ``end``; ``ready`` is set once every socket is open."""
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._serve(ready))
        finally:
            ready.set()
            self._loop.close()

    def end(self) -> None:
        """Stop serving; ``run`` returns soon."""
        self._ended = True
        with contextlib.suppress(RuntimeError):  # the loop has ended by itself
            self._loop.call_soon_threadsafe(self._wake.set)

    async def _serve(self, ready: threading.Event) -> None:
        while not self._ended:
            self._wake.clear()
            await self._reconcile()
            ready.set()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._wake.wait(), self._until_next())
        for place in tuple(self._open):
            await self._shut(place)
        for talk in self._talks:
            talk.cancel()
        await asyncio.gather(*self._talks, return_exceptions=True)
        await asyncio.sleep(0)  # for the transports to close
        self._doors.close()

    def _until_next(self) -> float | None:
        due = self.world.next_due()
        return None if due is None else max(0.0, due - self.world.clock())

    async def _reconcile(self) -> None:
        async with self._one_at_a_time:
            wanted = self._wanted()
            for place, door in tuple(self._open.items()):
                if wanted.get(place) != door.device:
                    await self._shut(place)
            for place, device in wanted.items():
                if place not in self._open:
                    await self._start(place, device)

    def _wanted(self) -> dict[_Place, str]:
        return {
            (address, port): device
            for address, device in self.world.answering().items()
            for port in self._doors.ports(self.world.machine(device).more_ports)
        }

    async def _start(self, place: _Place, device: str) -> None:
        try:
            listening = self._doors.open(*place)
        except CannotListen as error:
            problem = f"{device}: {error}"
            if problem not in self.problems:
                self.problems.append(problem)
            return
        self._open[place] = _Door(device, await self._listen(place, device, listening))

    async def _listen(self, place: _Place, device: str, listening: socket.socket) -> asyncio.Server:
        async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            task = asyncio.current_task()
            door = self._open.get(place)
            wire = Wire(self.world, place[0], reader, writer)
            if door is None or task is None:
                wire.abort()
                return
            door.wires.add(wire)
            self._talks.add(task)
            try:
                # Cancelled only when the serving ends; asyncio would report it as a failure.
                with contextlib.suppress(asyncio.CancelledError):
                    await wire.converse()
            finally:
                door.wires.discard(wire)
                self._talks.discard(task)

        tls = self._tls.get(device)
        return await asyncio.start_server(talk, sock=listening, ssl=tls)

    async def _shut(self, place: _Place) -> None:
        door = self._open.pop(place)
        door.server.close()
        for wire in tuple(door.wires):
            wire.abort()
        self._doors.closed(place[0])


@contextlib.contextmanager
def serve(
    world: World,
    *,
    connect_map: bool = False,
    map_addresses: Iterable[str] = (),
    tls: Mapping[str, ssl.SSLContext] | None = None,
) -> Iterator[Running]:
    """Serve a world on loopback sockets for as long as the block lasts.

    Args:
        world: What is served. Its port may be 0: one is picked (``running.port``).
        connect_map: Every address on 127.0.0.1, at a port of its own (``running.connect_map``).
        map_addresses: Addresses that are to have a port from the start, beside those that the
            devices have now.
        tls: What the devices speak TLS with, by device; those not named speak plain HTTP.

    Raises:
        CannotListen: a device's address can't be listened at.
    """
    if connect_map:
        now = [memory.running.lan.address for memory in world.memories().values()]
        doors: Aliases | Ports = Ports([*now, *map_addresses])
    else:
        doors = Aliases(world.port)
    running, ready = Running(world, doors, tls or {}), threading.Event()
    thread = threading.Thread(target=running.run, args=(ready,), name="mocks", daemon=True)
    world.observe(running)
    thread.start()
    try:
        ready.wait(PATIENCE_S)
        if running.problems:
            raise CannotListen(_first_of(running.problems))
        yield running
    finally:
        world.forget(running)
        running.end()
        thread.join(PATIENCE_S)


def _first_of(problems: list[str]) -> str:
    others = len(problems) - 1
    return problems[0] + (f" (and {others} other devices)" if others else "")
