"""The schedule as a whole: what is planned is what a run does, and it is near the best."""

import random
from dataclasses import replace
from statistics import mean

import pytest

from orchestrator.facility.plan import Ref
from orchestrator.facility.step import StepKind
from orchestrator.facility.wanted import Release, Unit
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.making import make, paced
from orchestrator.planning.scheduling.tasks import ranks
from tests.planning import carried, hand
from tests.planning.scenes import Box, address, rich_boxes, scene
from tests.planning.scheduling.problems import chance, check, problem, ring

K = StepKind


@pytest.mark.parametrize("seed", range(60))
def test_it_is_a_schedule_with_its_ties(seed: int) -> None:
    """In every width; ties and soft orders point backwards, so nothing waits for itself."""
    tasks = chance(seed, sources=6, devices=5, width=1 + seed % 6)
    made = make(tasks)
    check(tasks, made.start)
    rank = ranks(made.order)
    for ties in (made.waits, made.behind):
        for task, firsts in ties.items():
            assert all(rank[first] < rank[task] for first in firsts)
    for off, firsts in made.waits.items():
        assert all(made.end[first] <= made.start[off] for first in firsts)
    assert sorted(made.order) == list(range(len(tasks.length)))


def test_the_same_tasks_give_the_same_schedule() -> None:
    """Its chance is seeded and its time counted."""
    assert make(chance(5, sources=8)) == make(chance(5, sources=8))


def test_nothing_to_do() -> None:
    """No tasks, no schedule, and nothing left to try."""
    made = make(problem())
    assert (made.start, made.tries, made.whole) == ([], 0, True)


def test_a_circle_is_refused() -> None:
    """With an error and not for ever."""
    with pytest.raises(ValueError, match="circle"):
        make(problem(("a", 1, (1,)), ("b", 1, (0,))))


def test_a_silence_over_two_phases_is_begun_late_and_ended_early() -> None:
    """Split phases: the disable comes at the end of its phase, the enable first in its own."""
    tasks = problem(
        ("a", 1, ()), ("a", 1, (0,)), ("b", 9, ()), ("b", 1, (2,)), ("a", 1, (1,)),
        ("a", 5, ()), ("b", 1, (2, 4)), ("b", 9, (2,)),
        silences=((0, 4, 1),), phase=(0, 0, 0, 0, 1, 1, 1, 1),
    )  # fmt: skip
    made = make(tasks)
    check(tasks, made.start)
    assert made.start[4] == max(made.end[:4])


@pytest.mark.parametrize("seed", range(8))
def test_near_the_best(seed: int) -> None:
    """Against a constraint solver that may start tasks at any instant."""
    best = pytest.importorskip("tests.benchmarks.best", reason="ortools is not there")
    ratios = []
    for part in range(3):
        tasks = chance(100 * seed + part, sources=5)
        made = make(tasks)
        found = best.best(tasks, (tasks.silences,), 20.0, 1)
        assert found.proved
        cost = tasks.cost(made.start, made.end)
        assert cost >= found.cost[0]
        ratios.append(cost / found.cost[0])
    assert mean(ratios) <= 1.06
    assert max(ratios) <= 1.15


def _executed(where: Scene) -> bool:
    """Whether there was a sequence; raises AssertionError where a run does other than planned."""
    planned = dry_run(where)
    if planned.stopped or not planned.sequence.steps:
        return False
    began = carried.starts(planned.sequence)
    by_start = sorted(planned.sequence.steps, key=lambda s: (s.phase, began[s.id], s.order))
    assert [step.order for step in by_start] == [*range(1, len(by_start) + 1)]
    lasts = carried.silences(planned.sequence, began)
    for silence in planned.silence:
        if silence.source is not None:
            found = lasts[f"{silence.device}/{silence.source}"] / 1000
            assert found == pytest.approx(silence.seconds)
    whole = carried.length(planned.sequence, began) / 1000
    assert whole == pytest.approx(planned.estimate.seconds)
    return True


@pytest.mark.parametrize("shard", range(4))
def test_a_run_does_what_is_planned(shard: int) -> None:
    """Step by step, where each takes just its estimate: the same silence, length and order."""
    executed = sum(
        _executed(scene(rich_boxes(seed), width=1 + seed % 5))
        for seed in range(shard * 60, shard * 60 + 60)
    )
    assert executed > 30


def test_the_ring_is_told_as_it_is() -> None:
    """Five steps of silence for one, three for the other."""
    made = make(ring())
    assert [made.end[on] - made.start[off] for off, on, _ in ring().silences] == [50, 30]


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


def test_in_a_long_chain_each_is_silent_as_if_alone() -> None:
    """Six sources, each waiting for the next: none is silent for more than its own three steps."""
    boxes = {
        f"d{n}": Box(30 + n, {"s": (300 + n, True)}, wants={"s": (301 + n, None)})
        for n in range(1, 7)
    }
    planned = hand.planned(boxes)
    assert len(planned.silence) == 6
    for silence in planned.silence:
        assert silence.seconds == silence.bound_seconds == pytest.approx(3 * 5 * 0.05)


def test_what_stands_on_a_bench_is_no_silence() -> None:
    """A unit that joins is silent for nobody, so it is not hurried."""
    box = Box(50, {"s": (1, True)}, at="127.0.2.50", to=address(50), unit=Unit.REUSED)
    planned = hand.planned({"joiner": box, "a": Box(31, {"s": (311, True)})})
    assert planned.sequence.steps
    assert planned.silence == ()


def test_on_air_comes_first() -> None:
    """Of two sources in a ring the one on air is silent for three steps, the other for five."""
    for heard, spared in ((312, "b"), (311, "a")):
        boxes = hand.ring() | {"tx": Box(40, hears={"in": heard}, asked=False)}
        leave = tuple(
            Release(what=what, by="chief", reference="r", until="2099-01-01T00:00:00Z")
            for what in ("a", "b", "tx", "a/s", "b/s", "tx/in")
        )
        planned = hand.planned(boxes, on_air=(Ref("tx", "in"),), releases=leave)
        by_source = {s.device: s.seconds for s in planned.silence if s.source}
        assert by_source[spared] == min(by_source.values())


@pytest.mark.parametrize("seed", range(10))
def test_at_another_pace_it_is_the_same_schedule(seed: int) -> None:
    """Order and ties stay; with the same lengths all stays, with twice as long all is twice."""
    tasks = chance(seed, sources=6, devices=5, width=1 + seed % 6)
    made = make(tasks)
    assert paced(made, tasks) == made
    slow = replace(tasks, length=tuple(2 * each for each in tasks.length))
    told = paced(made, slow)
    assert told.start == [2 * each for each in made.start]
    assert (told.order, told.waits, told.behind) == (made.order, made.waits, made.behind)
    check(slow, told.start)


@pytest.mark.parametrize("seed", range(4))
def test_a_crowded_run_keeps_its_turns_full_when_steps_take_other_times(seed: int) -> None:
    """160 devices by turns of 16, each step up to a fifth longer: near the bound all the same.

    Each switches its source off, renumbers it and switches it on; its neighbour follows it.
    """
    count, width = 160, 16
    lines: list[tuple[str, int, tuple[int, ...]]] = []
    for n in range(count):
        off = 4 * n
        own, neighbour = f"d{n:03}", f"d{(n + 1) % count:03}"
        lines += [(own, 500, ()), (own, 500, (off,)), (neighbour, 500, (off,))]
        lines += [(own, 500, (off + 1, off + 2))]
    silences = tuple((4 * n, 4 * n + 3, 1) for n in range(count))
    tasks = problem(*lines, silences=silences, width=width)
    made = make(tasks, work=0)
    uneven = random.Random(seed)
    longer = replace(tasks, length=tuple(uneven.randint(500, 600) for _ in tasks.length))
    length = max(paced(made, longer).end)
    assert length <= 1.07 * sum(longer.length) / width
