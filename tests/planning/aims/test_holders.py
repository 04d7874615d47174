from dataclasses import replace

from orchestrator.facility.plan import Interface, PlannedSource
from orchestrator.facility.wanted import Unit
from orchestrator.planning.aims.holders import holders
from tests.planning import hand
from tests.planning.scenes import Box, address, group, scene


def test_a_device_that_answers_holds_what_it_says() -> None:
    """By the survey: address, numbers and groups, enabled or not; not what the plan says."""
    box = Box(31, {"s": (311, True), "t": (312, False), "u": (None, False)})
    box.planned = {"s": PlannedSource(name="s", number=999)}
    assert holders(scene({"a": box})) == {
        ("address", "media", address(31)): ("a",),
        ("number", "media", 311): ("a/s",),
        ("group", "media", group(311)): ("a/s",),
        ("number", "media", 312): ("a/t",),
        ("group", "media", group(312)): ("a/t",),
    }


def test_no_answer_is_not_vacant() -> None:
    """An absent device holds what the plan gives it: address, sources, further numbers."""
    source = PlannedSource(name="x", number=611, groups=(group(611),))
    where = scene({"gone": Box(61, absent=True, planned={"x": source}, numbers=(611, 612))})
    assert holders(where) == {
        ("address", "media", address(61)): ("gone",),
        ("number", "media", 611): ("gone/x",),
        ("group", "media", group(611)): ("gone/x",),
        ("number", "media", 612): ("gone",),
    }


def test_a_duplicate_has_two_holders() -> None:
    """Of a number and of an address."""
    where = scene({"a": Box(31, {"s": (311, True)}), "b": Box(31, {"s": (311, False)})})
    held = holders(where)
    assert held["number", "media", 311] == ("a/s", "b/s")
    assert held["address", "media", address(31)] == ("a", "b")


def test_a_unit_on_the_bench_holds_nothing() -> None:
    """Neither a fresh one that was found there nor an absent one planned there."""
    new = Box(50, {"s": (311, True)}, at="127.0.2.50", to=address(50), unit=Unit.FRESH)
    assert holders(scene({"new": new})) == {}
    gone = scene({"gone": Box(61, absent=True)})
    bench = (Interface("main", "bench", "127.0.2.61"),)
    assert holders(hand.with_device(gone, "gone", interfaces=bench)) == {}


def test_a_device_not_surveyed_is_absent() -> None:
    """A device that the survey passed over (the tool does not speak to it) holds by the plan."""
    where = scene({"box": Box(61, numbers=(611,))})
    unspoken = replace(where, found=replace(where.found, devices={}))
    assert holders(unspoken)["number", "media", 611] == ("box",)
