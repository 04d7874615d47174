"""What each habit does is held where the tool meets it, in ``tests/adapters/test_nmos_seen.py``."""

import pytest

from mocks.clock import HandClock
from mocks.load import WorldError
from mocks.nmos.habits import Habit
from mocks.world import World
from tests.mocks.nodes import WORLD, ask


def a_world(habits: str, make: str = "nmos") -> World:
    """The usual node with habits, from a world file."""
    text = WORLD.format(address="127.44.3.41", group="239.194.1.155:5004", more=habits)
    return World.from_text(text.replace("make: nmos", f"make: {make}"), HandClock())


@pytest.mark.parametrize("habit", Habit)
def test_each_is_known_to_a_world_file(habit: Habit) -> None:
    """By its name; the node answers all the same."""
    node = a_world(f", habits: [{habit}]").machine("node")
    assert ask(node, "GET", "/x-nmos/node/v1.3/self/").status == 200  # type: ignore[arg-type]


def test_what_is_no_habit() -> None:
    """It is refused with those that there are."""
    with pytest.raises(WorldError, match="unsorted"):
        a_world(", habits: [shouting]")
    with pytest.raises(WorldError):
        a_world(", habits: [unsorted]", make="tamarisk")
