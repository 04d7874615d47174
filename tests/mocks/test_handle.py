import pytest

from mocks.state import Source
from mocks.world import World


def test_edits_are_chained_and_saved(world: World) -> None:
    """Building a world changes running and saved state, on every make."""
    handle = world.device("node")
    handle.set_source("1", number=430, label="L").set_setting("ptp_domain", 3)
    assert handle.source("1") == Source(430, "239.194.1.174:5004", "L", enabled=True)
    assert handle.running == handle.saved
    assert handle.running.settings["ptp_domain"] == 3


def test_another_hand_saves_as_the_make_does(world: World) -> None:
    """Another hand on a TN-8 changes what runs, and does not store it; a CE-40 keeps at once."""
    node = world.another_hand("node").set_source("1", enabled=False)
    assert (node.source("1").enabled, node.saved.sources["1"].enabled) == (False, True)
    north = world.another_hand("north").set_source("program-1", enabled=False)
    assert not north.saved.sources["program-1"].enabled


def test_groups_apart_from_numbers(world: World) -> None:
    """A group may be given for itself; a number alone brings its own group."""
    handle = world.device("node").set_source("1", group="239.194.9.9:5004")
    assert (handle.source("1").number, handle.source("1").group) == (421, "239.194.9.9:5004")


def test_destinations_listen_as_their_make_does(world: World, net: str) -> None:
    """A CE-40 listens by number, a TN-8 by group; the other way is refused."""
    world.device("south").set_destination("codec-1", number=421)
    assert world.device("south").destination("codec-1").group == "239.194.1.165:5004"
    world.device("node").set_destination("1", group="")
    assert world.device("node").destination("1").group == ""
    with pytest.raises(ValueError, match="listens by number"):
        world.device("south").set_destination("codec-1", group="239.194.1.1:5004")
    with pytest.raises(ValueError, match="listens by group"):
        world.device("node").set_destination("1", number=5)
    world.device("south").set_address(f"{net}.90")
    assert world.device("south").address == f"{net}.90"


def test_unknown_names(world: World) -> None:
    """No device, slot or setting is invented."""
    with pytest.raises(KeyError):
        world.device("nobody")
    with pytest.raises(KeyError):
        world.device("north").set_source("program-9", number=1)
    with pytest.raises(KeyError):
        world.device("north").set_setting("colour", 1)
