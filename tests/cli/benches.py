"""A bench with two units that share one factory address, and hands that move cables."""

import contextlib
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import yaml

from mocks.journal import Asked, Change
from mocks.server import serve
from mocks.world import World
from tests.cli.stage import ENGINE, REUSED, Stage, facility
from tests.example import WORLD

FRESH, NODE = "studio-north-engine", "talks-io"
FACTORY = "127.0.2.50"
HOMES = {FRESH: "127.44.3.31", NODE: "127.44.3.22"}
UNITS = (FRESH, NODE)


class Hands:
    """Somebody at the bench: one unit on the cable at a time, and its cable moved when it left.

    ``slow_s`` is how long a moved unit is on no cable at all. It is off its cable the instant that
    it has left its address: the cable leads to the bench alone.
    """

    def __init__(self, stage: Stage, order: tuple[str, ...], slow_s: float = 0.3) -> None:
        self.world = stage.world
        self.order = list(order)
        self.slow_s = slow_s
        self.moves: list[str] = []
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)

    def _at(self, name: str) -> str:
        return self.world.machine(name).memory.running.lan.address

    def _work(self) -> None:
        while self.order and not self._ended.is_set():
            if self._at(self.order[0]) != FACTORY:
                self._move(self.order.pop(0))
            time.sleep(0.02)

    def changed(self, change: Change) -> None:
        """The unit on the cable has another address: nobody reaches it there."""
        first = self.order[0] if self.order else None
        if change.device == first and change.after.running.lan.address != FACTORY:
            self.world.pull_cable(change.device)

    def asked(self, _asked: Asked) -> None:
        """Nothing is done about it."""

    def moved(self) -> None:
        """Likewise."""

    def _move(self, name: str) -> None:
        self._ended.wait(self.slow_s)
        self.world.plug_in(name)
        self.moves.append(name)
        if self.order:
            self.world.plug_in(self.order[0])

    @contextlib.contextmanager
    def at_work(self) -> Iterator["Hands"]:
        """Work while the block lasts; the first unit is on the cable from the start."""
        for name in UNITS:
            self.world.pull_cable(name)
        self.world.plug_in(self.order[0])
        self.world.observe(self)
        self._thread.start()
        try:
            yield self
        finally:
            self._ended.set()
            self._thread.join()


def _document() -> dict[str, object]:
    """The example's world, with both units of the bench at one factory address."""
    document = yaml.safe_load(WORLD.read_text(encoding="utf-8"))
    document["devices"][NODE]["address"] = FACTORY
    return dict(document)


@contextlib.contextmanager
def benched(folder: Path) -> Iterator[Stage]:
    """A stage whose two joining units share the factory address."""
    world = World.from_mapping(_document())
    copied = facility(folder / "facility", ENGINE, REUSED)
    playbook = copied / "playbooks" / REUSED
    text = playbook.read_text(encoding="utf-8")
    playbook.write_text(text.replace("127.0.2.60", FACTORY), encoding="utf-8")
    with serve(world, connect_map=True, map_addresses=[FACTORY, *HOMES.values()]) as running:
        yield Stage(copied, world, running)
