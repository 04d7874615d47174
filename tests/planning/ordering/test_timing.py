from dataclasses import replace

import pytest

from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves, Traits
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.ordering.timing import (
    REQUESTS_OF_A_WRITE,
    estimate,
    longest_chain,
    make_disables_late,
    schedule,
)
from tests.planning import graphs, hand
from tests.planning.scenes import Box, address, rich_boxes, scene

K = StepKind


def _draft(device: str, seconds: float = 1.0, kind: StepKind = K.SAVE, phase: int = 0) -> Draft:
    return Draft(
        kind=kind,
        device=device,
        room="north",
        at=address(31),
        as_found=None,
        wanted=None,
        seconds=seconds,
        phase=phase,
    )


def _graph(*drafts: Draft) -> Graph:
    graph = Graph()
    for draft in drafts:
        graph.add(draft)
    return graph


def test_a_step_takes_its_requests_at_the_measured_pace() -> None:
    """Five requests a write, three a readdress, two and the settling a confirm, a save its time."""
    where = scene({"a": Box(31)}, response_s=0.2)
    traits = replace(where.traits["a"], settle_s=8.0, save_s=3.0)
    where = replace(where, traits={"a": traits})
    seconds = {kind: estimate(where, _draft("a", kind=kind)) for kind in StepKind}
    assert seconds[K.RENUMBER] == pytest.approx(0.2 * REQUESTS_OF_A_WRITE)
    assert seconds[K.READDRESS] == pytest.approx(0.6)
    assert seconds[K.CONFIRM] == pytest.approx(0.4 + 8.0)
    assert seconds[K.SAVE] == pytest.approx(1.0 + 3.0)
    assert seconds[K.BY_HAND] == 0.0


def test_a_device_that_was_not_found_has_no_pace() -> None:
    """Nothing is known of it, so only its traits count."""
    where = scene({"a": Box(31, absent=True)})
    where = replace(where, traits={"a": Traits(can=frozenset(StepKind), save_s=2.0)})
    assert estimate(where, _draft("a", kind=K.SAVE)) == 2.0


def test_one_step_at_a_time_to_a_device() -> None:
    """Two steps of one device, in no order, do not overlap; two devices do."""
    times = schedule(_graph(_draft("a"), _draft("a"), _draft("b")), width=16)
    assert sorted(times.start) == [0.0, 0.0, 1.0]
    assert times.start[2] == 0.0
    assert times.seconds == 2.0


@pytest.mark.parametrize(("width", "seconds"), [(1, 6.0), (2, 3.0), (3, 2.0), (16, 1.0)])
def test_no_more_devices_at_once_than_the_width(width: int, seconds: float) -> None:
    """Six devices, one step each."""
    times = schedule(_graph(*[_draft(f"d{n}") for n in range(6)]), width=width)
    assert times.seconds == seconds
    for moment in times.start:
        assert sum(s <= moment < e for s, e in zip(times.start, times.end, strict=True)) <= width


def test_a_phase_starts_when_the_one_before_is_done() -> None:
    """Though nothing in it waits for anything in that."""
    graph = _graph(_draft("a", 5.0), _draft("b", phase=1), _draft("c", phase=1))
    times = schedule(graph, width=16)
    assert times.start == (0.0, 5.0, 5.0)


def test_what_ends_a_silence_goes_first() -> None:
    """Of two steps of one device that are ready, the enable is before the disable."""
    times = schedule(_graph(_draft("a", kind=K.DISABLE), _draft("a", kind=K.ENABLE)), width=16)
    assert times.start[1] < times.start[0]


def test_nothing_takes_no_time() -> None:
    """An empty graph is a schedule of 0 seconds."""
    assert schedule(Graph(), width=16).seconds == 0.0
    assert longest_chain([]) == 0.0


def test_a_circle_is_refused() -> None:
    """By the schedule and by the lateness, with an error and not for ever."""
    graph = _graph(_draft("a"), _draft("b"))
    graph.order(0, 1)
    graph.order(1, 0)
    with pytest.raises(ValueError, match="circle"):
        schedule(graph, width=16)
    with pytest.raises(ValueError, match="circle"):
        make_disables_late(graph)


def test_the_longest_chain() -> None:
    """The longest sum along what waits for one another, however long."""
    graph = _graph(_draft("a", 2.0), _draft("b", 3.0), _draft("c", 4.0), _draft("d", 20.0))
    graph.order(0, 1)
    graph.order(1, 2)
    assert longest_chain(graph.drafts) == 20.0
    graph.order(2, 3)
    assert longest_chain(graph.drafts) == 29.0
    long = _graph(*[_draft(f"d{n}") for n in range(5000)])
    for number in range(4999):
        long.order(number, number + 1)
    assert longest_chain(long.drafts) == 5000.0


def test_a_disable_overlaps_the_write_that_it_waits_for() -> None:
    """a/s goes off while b/s is renumbered, not before b/s is off, and not after."""
    boxes = hand.chain()
    del boxes["c"]
    where, sequence = hand.safe(boxes)
    off = hand.step(sequence, K.DISABLE, "a/s")
    case = hand.case(where, sequence)
    assert case.order.before(hand.step(sequence, K.DISABLE, "b/s"), off)
    assert not case.order.before(hand.step(sequence, K.RENUMBER, "b/s"), off)


def test_a_disable_is_not_put_off_by_its_own_device() -> None:
    """A source that waits for another source of its own device goes off with it."""
    boxes = {
        "a": Box(
            31,
            {"s": (311, True), "t": (312, True)},
            wants={"s": (312, None), "t": (313, None)},
        )
    }
    _, sequence = hand.safe(boxes)
    assert hand.step(sequence, K.DISABLE, "a/s").after == ()


def test_a_disable_waits_for_no_later_phase() -> None:
    """Split over phases, b goes off in its own phase, whatever its readdress later waits for."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, to=address(40)),
        "b": Box(32, {"s": (321, True)}, wants={"s": (325, None)}, to=address(31), room="south"),
    }
    where, sequence = hand.safe(
        boxes, phases=(("south",), ("north",)), accepted={"split-phases": "vans are late"}
    )
    assert hand.step(sequence, K.DISABLE, "b/s").phase == 0
    assert hand.step(sequence, K.READDRESS, "b").phase == 1
    assert hand.verdict(where, sequence) == []


def test_a_long_chain_is_silent_for_short_times_only() -> None:
    """Six sources, each waiting for the next: each is silent as long as one alone, plus overlap."""
    boxes = {
        f"d{n}": Box(30 + n, {"s": (300 + n, True)}, wants={"s": (301 + n, None)})
        for n in range(1, 7)
    }
    planned = hand.planned(boxes)
    alone = 3 * 5 * 0.05
    assert len(planned.silence) == 6
    assert all(s.seconds <= alone + 5 * 0.05 + 1e-9 for s in planned.silence)
    assert planned.estimate.seconds > 1.5 * alone


@pytest.mark.parametrize("seed", range(60))
def test_lateness_closes_no_circle_and_keeps_the_order(seed: int) -> None:
    """On random facilities the schedule agrees with every order, width and device at a time."""
    where = scene(rich_boxes(seed), width=3)
    planned = dry_run(where)
    steps = planned.sequence.steps
    place = {step.id: step.order for step in steps}
    assert not graphs.has_ring({s.order: [place[a] for a in s.after] for s in steps})
    assert all(place[a] < step.order for step in steps for a in step.after)
    assert [step.order for step in steps] == [*range(1, len(steps) + 1)]
    assert [step.phase for step in steps] == sorted(step.phase for step in steps)


def test_a_save_counts_into_a_silence() -> None:
    """Where the holder must save first, who waits is silent no longer for it: it goes off later."""
    quick = hand.planned(hand.chain())
    slow = hand.planned(hand.chain(Saves.ON_SAVE))
    silent = {
        name: next(s.seconds for s in planned.silence if s.device == "a")
        for name, planned in (("quick", quick), ("slow", slow))
    }
    assert silent["slow"] <= silent["quick"] + 0.25 + 1e-9
