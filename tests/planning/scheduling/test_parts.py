import pytest

from orchestrator.planning.scheduling.parts import parts_of
from tests.planning.scheduling.problems import chance, problem


def test_parts_hang_together_by_devices_and_order() -> None:
    """A and b by order, c alone; the numbers within a part are its own."""
    tasks = problem(
        ("a", 1, ()), ("c", 2, ()), ("b", 3, (0,)), ("c", 4, (1,)), silences=((1, 3, 5),)
    )
    one, other = parts_of(tasks)
    assert (one.members, other.members) == ((0, 2), (1, 3))
    assert one.tasks.before == ((), (0,))
    assert other.tasks.length == (2, 4)
    assert (one.tasks.silences, other.tasks.silences) == ((), ((0, 1, 5),))


def test_phases_are_parts_of_their_own() -> None:
    """Though they share a device and wait for one another."""
    tasks = problem(("a", 1, ()), ("a", 1, (0,)), phase=(0, 1))
    assert [part.members for part in parts_of(tasks)] == [(0,), (1,)]
    assert all(part.tasks.before == ((),) for part in parts_of(tasks))


def test_a_silence_over_two_phases_has_an_end_in_each() -> None:
    """The first phase's end stands for the enable, the second's beginning for the disable."""
    tasks = problem(
        ("a", 1, ()), ("a", 1, (0,)), ("a", 1, (1,)), silences=((0, 2, 7),), phase=(0, 0, 1)
    )
    first, then = parts_of(tasks)
    assert first.members == (0, 1)
    assert first.tasks.silences == ((0, 2, 7),)
    assert first.tasks.before == ((), (0,), (0, 1))
    assert first.begins == ()
    assert then.tasks.silences == ((1, 0, 7),)
    assert then.begins == (1,)
    assert then.tasks.length == (1, 0)


@pytest.mark.parametrize("seed", range(30))
def test_nothing_is_lost(seed: int) -> None:
    """Every task and every silence is in one part, and nothing in two."""
    tasks = chance(seed, sources=6, devices=6)
    parts = parts_of(tasks)
    members = [task for part in parts for task in part.members]
    assert sorted(members) == list(range(len(tasks.length)))
    found = {
        (part.members[off], part.members[on], weight)
        for part in parts
        for off, on, weight in part.tasks.silences
    }
    assert found == set(tasks.silences)
