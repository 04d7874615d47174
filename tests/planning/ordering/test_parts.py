"""Parts: what hangs together, against networkx."""

from dataclasses import replace

import pytest

from orchestrator.planning.ordering.parts import parts_of
from orchestrator.planning.ordering.tasks import Tasks
from tests.planning.graphs import parts as connected
from tests.planning.ordering.problems import problem


def apart(tasks: Tasks, devices: int) -> Tasks:
    """The same tasks with more devices, so that more of them have nothing to do with each other."""
    device = tuple((own + task // 3) % devices for task, own in enumerate(tasks.device))
    return replace(tasks, device=tuple(device[task - task % 3] for task in range(len(device))))


@pytest.mark.parametrize("seed", range(60))
def test_parts_are_the_connected_components(seed: int) -> None:
    """By waiting and by shared devices: just the components that networkx finds."""
    tasks = apart(problem(seed, 5), 4)
    edges: dict[int, set[int]] = {task: set() for task in range(len(tasks.length))}
    for task, firsts in enumerate(tasks.before):
        for other in (*firsts, tasks.device.index(tasks.device[task])):
            edges[task].add(other)
            edges[other].add(task)
    # With every edge both ways, what is strongly connected is just what is connected.
    expected = connected(edges)
    assert {frozenset(part.members) for part in parts_of(tasks)} == expected


def test_a_silence_over_two_phases_has_a_stand_in_in_each() -> None:
    """What begins in one phase and ends in the next costs in both, each to its own edge."""
    tasks = problem(1, 1)
    split = replace(tasks, phase=(0, 0, 1))
    first, then = parts_of(split)
    assert (first.members, then.members) == ((0, 1), (2,))
    assert len(first.tasks.length) == 3
    assert first.begins == ()
    assert then.begins == (1,)
    assert first.tasks.before[2] == (0, 1)
