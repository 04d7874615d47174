import pytest

from orchestrator.facility.plan import Ref
from orchestrator.facility.wanted import Unit
from orchestrator.planning.aims.holders import holders
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.index import Index
from tests.planning.scenes import Box, address, group, rich_boxes, scene


def test_every_holder_is_listed() -> None:
    """Numbers and groups, two holders of a duplicate, and nothing of a bench."""
    where = scene(
        {
            "a": Box(31, {"s": (311, True)}),
            "b": Box(32, {"s": (311, False)}),
            "new": Box(50, {"s": (311, True)}, at="127.0.2.50", to=address(50), unit=Unit.FRESH),
        }
    )
    both = (Ref("a", "s"), Ref("b", "s"))
    assert where.sources_now == {
        ("number", "media", 311): both,
        ("group", "media", group(311)): both,
    }
    assert dict(where.sources_now.shared()) == dict(where.sources_now)
    assert len(where.sources_now) == 2


def test_nobody_holds_what_is_not_there() -> None:
    """Asked politely nobody answers; asked for an item, there is none."""
    index = scene({"a": Box(31, {"s": (311, True)})}).sources_now
    assert index.holders(("number", "media", 312)) == ()
    assert index.holders(("number", "nowhere", 311)) == ()
    with pytest.raises(KeyError):
        index["number", "media", 312]


def test_a_pointer_hears_whoever_holds_it_on_its_own_networks() -> None:
    """By number and by group, on two legs each source once; nothing where it points at nothing."""
    boxes = {"a": Box(31, {"s": (311, True)}), "b": Box(32, {"s": (311, False)})}
    index = scene(boxes).sources_now
    both = (Ref("a", "s"), Ref("b", "s"))
    assert index.heard(("media",), 311) == index.heard(("media",), group(311)) == both
    assert index.heard(("media", None, "media"), 311) == both
    for nets, hears in ((("media",), None), (("media",), 312), ((None,), 311), (("other",), 311)):
        assert index.heard(nets, hears) == ()


@pytest.mark.parametrize("seed", range(150))
def test_what_changed_is_indexed_as_if_from_the_start(seed: int) -> None:
    """Joins, leaves, duplicates made and mended: the same as looking at everything again."""
    where = scene(rich_boxes(seed))
    then = targets(where).states
    networks = {name: where.networks_of(state) for name, state in then.items()}
    changed = where.sources_now.changed(where.states, then, where.networks_now, networks)
    anew = Index.of(then, networks)
    assert {thing: set(refs) for thing, refs in changed.items()} == {
        thing: set(refs) for thing, refs in anew.items()
    }
    assert {thing for thing, _ in changed.shared()} == {thing for thing, _ in anew.shared()}
    assert all(len(set(refs)) == len(refs) for refs in changed.values())


@pytest.mark.parametrize("seed", range(50))
def test_what_is_shared_is_what_has_two_holders(seed: int) -> None:
    """Whoever holds it: a source that was found, an address, a device that is gone."""
    held = holders(scene(rich_boxes(seed)))
    assert dict(held.shared()) == {thing: names for thing, names in held.items() if len(names) > 1}
