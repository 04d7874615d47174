from collections.abc import Callable
from pathlib import Path

import httpx
import pytest

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.journal import Asked, Cause, Change
from mocks.load import WorldError
from mocks.messages import Request
from mocks.world import World

Ask = Callable[..., httpx.Response]


class Notes:
    """An observer that keeps what it is told."""

    def __init__(self) -> None:
        self.changes: list[Change] = []
        self.requests: list[Asked] = []
        self.moves = 0

    def changed(self, change: Change) -> None:
        """Keep a change."""
        self.changes.append(change)

    def asked(self, asked: Asked) -> None:
        """Keep a request."""
        self.requests.append(asked)

    def moved(self) -> None:
        """Count a move."""
        self.moves += 1


def test_load_from_a_file(tmp_path: Path, world_text: str) -> None:
    """A world is read from a file; a file that can't be read is named."""
    path = tmp_path / "world.yaml"
    path.write_text(world_text, encoding="utf-8")
    assert World.load(path).names == ("north", "south", "node", "feed", "alert", "fresh")
    with pytest.raises(WorldError, match=r"none\.yaml: can't be read"):
        World.load(tmp_path / "none.yaml")
    assert World.from_mapping({"devices": {}}).names == ()


def test_reading_changes_no_snapshot(world: World, ask: Ask) -> None:
    """Two snapshots are equal while nobody writes, and differ after a write."""
    before = world.snapshot()
    ask("north", "GET", "/streams")
    assert world.snapshot() == before
    ask("north", "PATCH", "/streams/program-1", {"title": "New"})
    assert world.snapshot() != before
    assert "secret" not in str(world.snapshot())


def test_counts_and_logs(world: World, ask: Ask, clock: HandClock) -> None:
    """Each request is counted and logged with its time; what wrote is counted apart."""
    ask("north", "GET", "/streams?x=1")
    clock.advance(2)
    ask("north", "PATCH", "/streams/program-1", {"title": "New"})
    ask("north", "PATCH", "/streams/program-1", {"title": 5})
    assert (world.requests("north"), world.writes("north"), world.requests("south")) == (3, 2, 0)
    assert [(one.at, one.method, one.path, one.outcome) for one in world.log] == [
        (100.0, "GET", "/streams", "200"),
        (102.0, "PATCH", "/streams/program-1", "200"),
        (102.0, "PATCH", "/streams/program-1", "422"),
    ]
    assert world.log[1].body == '{"title":"New"}'


def test_log_has_no_secret(world: World, ask: Ask) -> None:
    """Not even a secret that a client puts where it does not belong is logged."""
    ask("north", "PATCH", "/streams/north-secret", {"title": "north-secret"})
    assert "north-secret" not in repr(world.log)
    assert "***" in world.log[0].path


def test_readdress_moves_who_answers(world: World, ask: Ask, clock: HandClock, net: str) -> None:
    """After the settle time the new address answers and the old one does not."""
    ask("north", "PUT", "/lan", {"ip": f"{net}.33", "prefix": 25, "router": None})
    assert f"{net}.33" not in world.answering()
    assert world.next_due() == pytest.approx(100.15)
    clock.advance(0.2)
    assert world.answering()[f"{net}.33"] == "north"
    assert f"{net}.31" not in world.answering()


def test_first_come_answers(world: World, net: str) -> None:
    """Of two devices at one address the one that was there first answers, until it leaves."""
    world.device("south").set_address(f"{net}.31")
    assert world.answering()[f"{net}.31"] == "north"
    world.pull_cable("north")
    assert world.answering()[f"{net}.31"] == "south"
    world.plug_in("north")
    assert world.answering()[f"{net}.31"] == "south"


def test_whoever_moves_in_comes_last(world: World, net: str) -> None:
    """A device that moves onto another's address does not take it over."""
    world.device("north").set_address(f"{net}.32")
    assert world.answering()[f"{net}.32"] == "south"


def test_power_cycle(world: World, ask: Ask, clock: HandClock) -> None:
    """A power cycle brings back what is saved; the device is away meanwhile."""
    ask("node", "PUT", "/api/tx/1", {"state": "off"})
    world.reboot("node", away_s=2)
    with pytest.raises(httpx.ConnectError):
        ask("node", "GET", "/api/tx")
    clock.advance(2)
    assert ask("node", "GET", "/api/tx").json()["tx"]["1"]["state"] == "on"


def test_observers_are_told(world: World, ask: Ask, clock: HandClock, net: str) -> None:
    """Changes come at once, with their cause and time; what was due late bears the due time."""
    notes = Notes()
    world.observe(notes)
    ask("north", "PATCH", "/streams/program-1", {"sending": False})
    world.another_hand("south").set_source("program-1", label="X")
    world.device("south").set_source("program-1", label="Y")
    ask("node", "PUT", "/api/ports/main", {"addr": f"{net}.43/25", "gw": ""})
    clock.advance(5)
    world.reboot("node")
    assert [(one.device, one.cause, one.at) for one in notes.changes] == [
        ("north", Cause.REQUEST, 100.0),
        ("south", Cause.ANOTHER_HAND, 100.0),
        ("south", Cause.EDIT, 100.0),
        ("node", Cause.REQUEST, 100.0),
        ("node", Cause.REQUEST, pytest.approx(100.15)),
        ("node", Cause.REBOOT, 105.0),
    ]
    assert len(notes.requests) == 2
    assert notes.moves > 0
    world.forget(notes)
    world.another_hand("south").set_source("program-1", label="Z")
    assert len(notes.changes) == 6


def test_nobody_stands_there(world: World, net: str) -> None:
    """A request to an address at which nobody stands is not taken."""
    assert world.begin(f"{net}.99", Request("GET", "/")) is None


def test_gone_before_it_was_done(world: World, net: str) -> None:
    """A device that left between a request's coming and its doing closes the connection."""
    begun = world.begin(f"{net}.31", Request("GET", "/unit"))
    assert begun is not None
    world.pull_cable("north")
    assert world.finish(begun).response is None
    assert world.log[-1].outcome == "closed without an answer"


def test_clear_faults(world: World, ask: Ask) -> None:
    """Without its faults a device is well again, even one that refused everything."""
    world.add_fault("north", Fault(Kind.REFUSE, always=True))
    with pytest.raises(httpx.ConnectError):
        ask("north", "GET", "/unit")
    world.clear_faults("north")
    assert ask("north", "GET", "/unit").status_code == 200
