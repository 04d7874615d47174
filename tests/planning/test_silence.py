import pytest

from orchestrator.facility.plan import ListensTo, PlannedSource, Ref
from orchestrator.facility.wanted import Unit
from orchestrator.planning.aims.listeners import listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.scene import Scene
from orchestrator.planning.silence import Span, on_air_sources, weighed
from tests.planning import hand
from tests.planning.scenes import Box, address, rich_boxes, scene


def _on_air(where: Scene) -> frozenset[Ref]:
    return on_air_sources(where, listeners(where, targets(where).states))


def test_a_silence_runs_from_the_disable_to_the_end_of_the_enable() -> None:
    """Disable, renumber, enable: three writes of five requests at 50 ms each."""
    planned = hand.planned({"a": Box(31, {"s": (311, True)}, wants={"s": (320, None)})})
    (silence,) = planned.silence
    assert (silence.device, silence.source, silence.destination) == ("a", "s", None)
    assert silence.seconds == pytest.approx(0.75)
    assert silence.bound_seconds == pytest.approx(0.75)


def test_its_known_listeners_are_silent_as_long() -> None:
    """Each has an entry of its own, with the same seconds and bound."""
    planned = hand.planned(hand.chain())
    by_name = {(s.device, s.source or s.destination): s for s in planned.silence}
    assert set(by_name) == {("a", "s"), ("b", "s"), ("c", "in")}
    assert by_name["c", "in"].seconds == by_name["a", "s"].seconds
    assert by_name["c", "in"].bound_seconds == by_name["a", "s"].bound_seconds


def test_a_source_that_stays_off_is_no_silence() -> None:
    """Nor one that is switched off for good, nor one that comes up for the first time."""
    for wants in ((320, None), (320, True)):
        planned = hand.planned({"a": Box(31, {"s": (311, False)}, wants={"s": wants})})
        assert planned.silence == ()
    planned = hand.planned({"a": Box(31, {"s": (311, True)}, wants={"s": (311, False)})})
    assert planned.silence == ()


def test_a_unit_on_the_bench_is_not_missed() -> None:
    """It is off and on again while it joins, but nobody heard it."""
    planned = hand.planned(hand.join())
    assert planned.silence == ()
    assert planned.listeners == ()


def test_on_air_comes_first_then_the_longest() -> None:
    """The order in which a person has to read them."""
    boxes = hand.ring()
    boxes["d"] = Box(34, {"s": (341, True)}, to=address(80), hears={"in": 341})
    planned = hand.planned(boxes, on_air=(Ref("c", "in"),))
    on_air = [s.on_air for s in planned.silence]
    assert on_air == sorted(on_air, reverse=True)
    assert {(s.device, s.source or s.destination) for s in planned.silence if s.on_air} == {
        ("a", "s"),
        ("c", "in"),
    }
    rest = [s.seconds for s in planned.silence if not s.on_air]
    assert rest == sorted(rest, reverse=True)


def test_what_is_on_air_outweighs_everything_else() -> None:
    """For any time that the whole run could take; the others weigh by their listeners."""
    listeners = (Ref("c", "in"), Ref("d", "in"), Ref("e", "in"))
    heard = Span(Ref("a", "s"), 0, 1, on_air=False, listeners=listeners)
    unheard = Span(Ref("a", "t"), 2, 3, on_air=False, listeners=())
    on_air = Span(Ref("b", "s"), 4, 5, on_air=True, listeners=listeners[:1])
    weights = [weight for _, _, weight in weighed([heard, unheard, on_air], 1000)]
    assert weights[:2] == [3, 1]
    assert weights[2] > 1000 * (3 + 1 + 1)


@pytest.mark.parametrize("seed", range(60))
def test_no_silence_is_shorter_than_its_bound(seed: int) -> None:
    """On random facilities, and no longer than the whole run."""
    planned = dry_run(scene(rich_boxes(seed), width=2 + seed % 4))
    for silence in planned.silence:
        assert 0 < silence.bound_seconds <= silence.seconds + 1e-9
        assert silence.seconds <= planned.estimate.seconds + 1e-9


def test_what_feeds_an_on_air_destination_is_on_air() -> None:
    """By the survey where the device answered, duplicates included."""
    boxes = {
        "a": Box(31, {"s": (311, True), "t": (312, True)}),
        "b": Box(32, {"s": (311, False)}),
        "c": Box(33, hears={"in": 311, "off": None}),
    }
    on_air = (Ref("c", "in"), Ref("c", "off"))
    assert _on_air(scene(boxes, on_air=on_air)) == {Ref("a", "s"), Ref("b", "s")}
    assert _on_air(scene(boxes)) == frozenset()


def test_what_feeds_an_absent_on_air_destination_is_known_from_the_plan() -> None:
    """By source only: a number in the plan says nothing of who holds it now."""
    boxes = {"a": Box(31, {"s": (311, True)}), "feed": Box(71, absent=True)}
    boxes["feed"].planned_hears["in"] = ListensTo(source=Ref("a", "s"))
    where = scene(boxes, on_air=(Ref("feed", "in"), Ref("feed", "unknown")))
    assert _on_air(where) == {Ref("a", "s")}


def test_how_surely_listeners_are_known() -> None:
    """Known; partly, where the plan names others in words; unknown, where a device is absent."""
    boxes = hand.chain()
    planned = hand.planned(boxes)
    (of_a,) = [entry for entry in planned.listeners if entry.source == "a/s"]
    assert (of_a.destinations, of_a.also, of_a.sure) == (("c/in",), (), "known")
    boxes["a"].planned = {"s": PlannedSource(name="s", also_heard_by=("the hospital radio",))}
    (of_a,) = [entry for entry in hand.planned(boxes).listeners if entry.source == "a/s"]
    assert (of_a.also, of_a.sure) == (("the hospital radio",), "partly")
    boxes["gone"] = Box(61, absent=True)
    assert {entry.sure for entry in hand.planned(boxes).listeners} == {"unknown"}


def test_a_unit_that_leaves_has_its_listeners_listed() -> None:
    """It is switched off in the facility, so who heard it is told."""
    box = Box(31, {"s": (311, True)}, exact={"main": ("127.0.2.60", 24, None)})
    box.wants["s"] = (5, True)
    planned = hand.planned({"a": box, "c": Box(33, hears={"in": 311})})
    assert [entry.destinations for entry in planned.listeners] == [("c/in",)]
    assert Unit.KNOWN is box.unit
