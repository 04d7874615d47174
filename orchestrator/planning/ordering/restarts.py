"""Settings that restart a device which boots with what it saved: they come first on it.

A restart takes back whatever was not saved. So the device's sources are switched off and that is
saved; then come the settings that restart it, one after the other; then all else of the device.
Nothing that they wait for waits for anything, so this never stands against another order.
"""

from itertools import pairwise

from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.work import Work


def save_before(work: Work, name: str) -> None:
    """Save the device, with its sources off, before whatever restarts it."""
    restarts = work.restarts.get(name)
    if not restarts:
        return
    save = work.add(name, StepKind.SAVE)
    for ref, off in work.disable.items():
        if ref.device == name:
            work.graph.order(off, save)
    for first, then in pairwise([save, *restarts]):
        work.graph.order(first, then)
    restarts.insert(0, save)


def all_else_after(work: Work, name: str) -> None:
    """Put what else is done to the device after that, once all of it is there."""
    restarts = work.restarts.get(name)
    if not restarts:
        return
    first = {*restarts, *(off for ref, off in work.disable.items() if ref.device == name)}
    for index in work.of_device[name]:
        if index not in first:
            work.graph.order(restarts[-1], index)
