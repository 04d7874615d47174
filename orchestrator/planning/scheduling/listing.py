"""A first order of tasks: list scheduling, as a run would go, with disables held back.

A disable of a silence waits until what else its device's write waits for is under way. Of the
tasks that are ready, those that end a silence go first, then those of a source that is silent
already, and disables last.
"""

from collections.abc import Sequence
from dataclasses import replace

from orchestrator.planning.scheduling.carry import carried
from orchestrator.planning.scheduling.tasks import Tasks, Ties, numbers, ranks


def listed(tasks: Tasks, late: Sequence[int]) -> tuple[list[int], list[int]]:
    """The order of starts, and the starts, given an order ``late`` that agrees with the tasks.

    At most as many tasks run at once as the width allows, by hand or not.
    """
    offs = {off for off, _, _ in tasks.silences}
    ons = {on for _, on, _ in tasks.silences}
    urgency = [0 if task in ons else 2 if task in offs else 1 for task in range(len(late))]
    order = sorted(numbers(len(late)), key=urgency.__getitem__)
    spoken = replace(tasks, by_hand=(False,) * len(late))
    start, started = carried(spoken, order, _held_back(tasks, offs, ranks(late)))
    return started, start


def _held_back(tasks: Tasks, offs: set[int], place: Sequence[int]) -> Ties:
    """Let disables wait for what comes before the writes that theirs wait for."""
    device, before, later = tasks.device, tasks.before, tasks.later
    ties: dict[int, tuple[int, ...]] = {}
    for off in offs:
        own, until = device[off], place[off]
        waits = {
            earlier
            for write in later[off]
            for awaited in before[write]
            if device[awaited] != own
            for earlier in before[awaited]
            if place[earlier] < until
        }
        waits.difference_update(before[off])
        if waits:
            ties[off] = tuple(waits)
    return ties
