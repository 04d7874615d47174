from orchestrator.facility.found import SourceState
from orchestrator.planning.things import (
    each_thing,
    heard_things,
    source_things,
    thing_words,
    things_of,
)
from tests.planning.scenes import group


def test_a_source_holds_its_number_on_every_leg_and_each_group_on_its_own() -> None:
    """Two legs, two networks: the number on both, each group on the leg's network only."""
    assert source_things(("red", "blue"), 311, (group(311), group(312))) == (
        ("number", "red", 311),
        ("group", "red", group(311)),
        ("number", "blue", 311),
        ("group", "blue", group(312)),
    )


def test_a_leg_on_a_bench_holds_nothing() -> None:
    """Only the leg that stands in the facility counts."""
    assert source_things((None, "blue"), 311, (group(311), group(312))) == (
        ("number", "blue", 311),
        ("group", "blue", group(312)),
    )
    assert source_things((None,), 311, (group(311),)) == ()


def test_unassigned_holds_nothing() -> None:
    """Neither a number nor a group; a group without number is held all the same."""
    assert source_things(("media",), None, (None,)) == ()
    assert source_things(("media",), None, (group(1),)) == (("group", "media", group(1)),)
    assert source_things(("media",), 311, ()) == (("number", "media", 311),)


def test_a_source_as_found() -> None:
    """Enabled or not, it holds what it holds."""
    held = (("number", "media", 311), ("group", "media", group(311)))
    for enabled in (True, False):
        source = SourceState(number=311, groups=(group(311),), label="", enabled=enabled)
        assert things_of(("media",), source) == held


def test_a_pointer_hears_on_each_network_of_its_device() -> None:
    """A number, a group, or nothing."""
    assert heard_things(("red", None, "blue"), 311) == (
        ("number", "red", 311),
        ("number", "blue", 311),
    )
    assert heard_things(("red",), group(311)) == (("group", "red", group(311)),)
    assert heard_things(("red",), None) == ()


def test_a_thing_in_words() -> None:
    """As hazards name it."""
    assert thing_words(("number", "media", 311)) == "number 311 on media"


def test_things_by_leg_are_the_things_of_a_source() -> None:
    """Number and group, leg by leg; a number stands twice where two legs are on one network."""
    assert each_thing(("a", None, "b"), 311, ("g", "h")) == [
        ("number", "a", 311),
        ("group", "a", "g"),
        ("number", "b", 311),
    ]
    assert each_thing(("a", "a"), 311, ()) == [("number", "a", 311)] * 2
    assert source_things(("a", "a"), 311, ()) == (("number", "a", 311),)
