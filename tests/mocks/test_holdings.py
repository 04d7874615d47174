from mocks.holdings import Thing, heard, held, in_transit, shared
from mocks.world import World

N311 = Thing("media", "number", "311")
N421 = Thing("media", "number", "421")


def test_numbers_groups_and_addresses_are_held(world: World, net: str) -> None:
    """Each number, group and address on the facility's network is held by whoever has it."""
    found = held(world.site, world.memories())
    assert found[N311] == {"north/program-1"}
    assert found[Thing("media", "group", "239.194.1.55:5004")] == {"north/program-1"}
    assert found[Thing("media", "address", f"{net}.31")] == {"north"}
    assert str(N311) == "number 311 on media"


def test_a_bench_holds_nothing(world: World) -> None:
    """What stands on a bench holds nothing of the facility."""
    found = held(world.site, world.memories())
    assert not any("fresh" in holder for holders in found.values() for holder in holders)


def test_what_would_boot_is_held_too(world: World) -> None:
    """A number let go only in the running state is still held."""
    world.another_hand("node").set_source("1", number=500)
    memories = world.memories()
    assert held(world.site, memories)[N421] == {"node/1"}
    assert N421 not in held(world.site, memories, running_only=True)


def test_shared(world: World) -> None:
    """Only what has more than one holder is shared."""
    assert shared(held(world.site, world.memories())) == {}
    world.device("south").set_source("program-1", number=311)
    assert shared(held(world.site, world.memories()))[N311] == {
        "north/program-1",
        "south/program-1",
    }


def test_who_is_heard(world: World) -> None:
    """By number or by group, enabled sources of the same network only; a bench hears nobody."""
    found = heard(world.site, world.memories())
    assert found["north/codec-1"] == {"node/1"}
    assert found["feed/1"] == {"north/program-1"}
    assert found["fresh/codec-1"] == frozenset()
    world.device("north").set_source("program-1", enabled=False)
    assert heard(world.site, world.memories())["feed/1"] == frozenset()
    assert heard(world.site, world.memories(), enabled_only=False)["feed/1"] == {"north/program-1"}


def test_nothing_is_heard_at_nothing(world: World) -> None:
    """A destination at nothing does not hear a source without a number."""
    world.device("north").set_destination("codec-1", number=0)
    world.device("south").set_source("program-1", number=0, group="")
    assert heard(world.site, world.memories(), enabled_only=False)["north/codec-1"] == frozenset()


def test_enabled_in_transit(world: World, net: str) -> None:
    """An enabled source has no place on a transit number or address; a disabled one may."""
    assert in_transit(world.site, world.memories()) == frozenset()
    world.device("north").set_source("program-2", number=2991)
    assert in_transit(world.site, world.memories()) == frozenset()
    world.device("north").set_source("program-2", enabled=True)
    world.device("south").set_address(f"{net}.105")
    assert in_transit(world.site, world.memories()) == {
        "north/program-2 is enabled on transit number 2991",
        f"south/program-1 is enabled at transit address {net}.105",
    }
