import pytest

from orchestrator.planning.scheduling.parts import parts_of
from orchestrator.planning.scheduling.solving import Solver, robust
from tests.planning.scheduling.problems import chance, check, problem, ring


def test_the_ring_is_solved() -> None:
    """A silent for five steps, b for three: no order does with less."""
    (part,) = parts_of(ring())
    solved = Solver(100_000).solve(part, 100_000)
    assert solved.start == [0, 10, 30, 40, 10, 20, 30]
    assert solved.length == 50
    assert solved.devices == 2


@pytest.mark.parametrize("work", [0, 100_000])
@pytest.mark.parametrize("seed", range(40))
def test_every_part_gets_a_schedule(seed: int, work: int) -> None:
    """With and without work to search, in every width."""
    for part in parts_of(chance(seed, sources=6, width=1 + seed % 4)):
        solver = Solver(work)
        solved = solver.solve(part, work)
        if len(part.tasks.length) == len(part.members) and solved.devices <= part.tasks.width:
            check(part.tasks, solved.start)
        assert solver.work <= work
        assert not solver.tries or work


def test_without_work_it_says_that_it_did_not_search() -> None:
    """Where there is silence to look at."""
    solver = Solver(0)
    for part in parts_of(ring()):
        solver.solve(part, 0)
    assert not solver.whole


def test_the_profile_says_how_many_are_spoken_to() -> None:
    """In the ring: a alone, both, both, a alone; with the task that ends each."""
    (part,) = parts_of(ring())
    solved = Solver(100_000).solve(part, 100_000)
    assert [(since, until, count) for since, until, count, _ in solved.profile()] == [
        (0, 10, 1),
        (10, 20, 2),
        (20, 30, 1),
        (30, 40, 2),
        (40, 50, 1),
    ]


def test_a_disable_also_waits_for_what_its_write_waits_for() -> None:
    """Should that take longer than expected, the source stays on for longer."""
    tasks = problem(
        ("b", 1, ()),
        ("b", 1, (0,)),
        ("c", 9, ()),
        ("a", 1, ()),
        ("a", 1, (3, 1)),
        ("a", 1, (4,)),
        silences=((3, 5, 1),),
    )
    start = [0, 1, 0, 9, 10, 11]
    assert robust(tasks, {3: 2}, start, range(6)) == {3: (2, 1)}
    early = [0, 1, 0, 1, 2, 3]
    assert robust(tasks, {}, early, [0, 1, 2, 3, 4, 5]) == {3: (0,)}
