"""The schedule as a whole: what is planned is what a run does, and it is near the best."""

from statistics import mean

import pytest

from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.ordering.making import make
from orchestrator.planning.scene import Scene
from tests.planning import carried
from tests.planning.ordering.problems import chance, check, problem, ring
from tests.planning.scenes import rich_boxes, scene


@pytest.mark.parametrize("seed", range(60))
def test_it_is_a_schedule_with_its_ties(seed: int) -> None:
    """In every width; ties and soft orders point backwards, so nothing waits for itself."""
    tasks = chance(seed, sources=6, devices=5, width=1 + seed % 6)
    made = make(tasks)
    check(tasks, made.start)
    for ties in (made.waits, made.behind):
        for task, firsts in ties.items():
            assert all(made.rank[first] < made.rank[task] for first in firsts)
    for off, firsts in made.waits.items():
        assert all(made.end[first] <= made.start[off] for first in firsts)
    assert sorted(made.rank) == list(range(len(tasks.length)))


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
