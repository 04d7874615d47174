"""What a save is to keep: a device that loses its power before it goes back to what it had saved.

Such a device says that nothing is unsaved, which is true, and its number is the one that another
source is about to take. So a save is no proof of anything until what it keeps has been read.
"""

from collections.abc import Iterable, Mapping

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import Step, StepKind
from orchestrator.running.value import same, value_of

_SETS_NOTHING = frozenset({StepKind.SAVE, StepKind.CONFIRM, StepKind.BY_HAND})
_SWITCH = frozenset({StepKind.DISABLE, StepKind.ENABLE})


def unsaved(save: Step, steps: Mapping[str, Step], proved: Iterable[str]) -> tuple[Step, ...]:
    """The proved steps of the device of ``save`` that no proved save surely kept, in order."""
    own = [steps[name] for name in proved if steps[name].device == save.device]
    kept: set[str] = set()
    for step in own:
        if step.kind is StepKind.SAVE:
            kept |= _before(step, steps)
    left = (step for step in own if step.kind not in _SETS_NOTHING and step.id not in kept)
    return tuple(sorted(left, key=lambda step: step.order))


def _before(save: Step, steps: Mapping[str, Step]) -> set[str]:
    """The steps of its own device that a step comes after, at once or by way of others of them."""
    found: set[str] = set()
    left = [save]
    while left:
        names = {name for name in left.pop().after if steps[name].device == save.device} - found
        found |= names
        left += [steps[name] for name in names]
    return found


def lost(held: Iterable[Step], state: DeviceState) -> tuple[Step, ...]:
    """Those of the steps ``held``, in order, that have to be done again, as ``state`` shows.

    Where the number or the switch of a source is lost, all that was done to both is: the source
    is renumbered only while it is off.
    """
    steps = tuple(held)
    latest = {_thing(step): step for step in steps}
    wrong = {
        thing
        for thing, step in latest.items()
        if not same(step.wanted, value_of(step, state))
        and step.kind is not StepKind.READDRESS  # its own confirm has read the address
    }
    return tuple(step for step in steps if _thing(step) in wrong or _together(step) in wrong)


def _thing(step: Step) -> tuple[str, str]:
    if step.kind in _SWITCH:
        return "switch", step.source or ""
    if step.source is not None:
        return "number" if step.kind is StepKind.RENUMBER else "label", step.source
    if step.destination is not None:
        return "pointer" if step.kind is StepKind.REPOINT else "name", step.destination
    return step.kind, step.setting or ""


def _together(step: Step) -> tuple[str, str]:
    thing, name = _thing(step)
    return {"switch": "number", "number": "switch"}.get(thing, thing), name
