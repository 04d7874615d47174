from mocks.clock import HandClock
from mocks.ground import FOREVER, Ground
from mocks.load import read_world


def ground(text: str, clock: HandClock) -> Ground:
    """The small world's ground."""
    return Ground(read_world(text).devices, clock)


def test_refusing_ends_in_time(world_text: str, clock: HandClock, net: str) -> None:
    """A device that refuses for a time answers again after it; the longer refusal counts."""
    here = ground(world_text, clock)
    here.refuse("north", clock() + 5)
    here.refuse("north", clock() + 2)
    clock.advance(4.9)
    assert f"{net}.31" not in here.answering()
    clock.advance(0.1)
    assert here.answering()[f"{net}.31"] == "north"
    here.refuse("north", FOREVER)
    clock.advance(1e9)
    assert f"{net}.31" not in here.answering()


def test_power_cycle_takes_its_time(world_text: str, clock: HandClock, net: str) -> None:
    """A device is away while it boots, and something is on the agenda for when it is back."""
    here = ground(world_text, clock)
    here.reboot("node", clock(), 3.0)
    assert f"{net}.42" not in here.answering()
    assert here.agenda.next_due() == clock() + 3.0
    clock.advance(3.0)
    assert here.answering()[f"{net}.42"] == "node"


def test_arrivals_only_grow(world_text: str, clock: HandClock) -> None:
    """Whoever comes later has the higher number."""
    here = ground(world_text, clock)
    assert here.arrival() < here.arrival()
    assert [one.since for one in here.standing.values()] == [1, 2, 3, 4, 5, 6]
