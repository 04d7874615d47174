"""What has to be there still when a step is done.

A device that loses its power goes back to what it had saved: a source that was switched off is on
again, with its old number. So before anything is written that rests on what the run had set, that
is read again. A save rests on all that it is to keep: such a device says that nothing is unsaved,
which is true, and its number may be the one that another source is about to take.
"""

from collections.abc import Iterable, Mapping

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import Step, StepKind
from orchestrator.running.value import same, value_of

_SETS_NOTHING = frozenset({StepKind.SAVE, StepKind.CONFIRM, StepKind.BY_HAND})
_SWITCH = frozenset({StepKind.DISABLE, StepKind.ENABLE})
_IDENTITY = _SWITCH | {StepKind.RENUMBER}
_RESTS = frozenset({StepKind.RENUMBER, StepKind.ENABLE, StepKind.READDRESS})


def rests_on(step: Step, steps: Mapping[str, Step], proved: Iterable[str]) -> tuple[Step, ...]:
    """The proved steps, in order, whose values have to be there when ``step`` is done.

    A source is renumbered only while it is off; it is switched on only with the number that it
    was given; its device is readdressed only while all that was switched off is.
    """
    if step.kind is StepKind.SAVE:
        return unsaved(step, steps, proved)
    if step.kind not in _RESTS:
        return ()
    own = (
        one
        for one in (steps[name] for name in proved)
        if one.device == step.device and one.kind in _IDENTITY and step.source in (None, one.source)
    )
    return tuple(sorted(own, key=lambda one: one.order))


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


def lost(step: Step, held: Iterable[Step], state: DeviceState) -> tuple[Step, ...]:
    """Those of the steps ``held``, in order, that have to be done again, as ``state`` shows.

    What ``step`` is itself about is for its own look to judge. Where the number or the switch of a
    source is lost, all that was done to both is: it is renumbered only while it is off.
    """
    steps = tuple(held)
    latest = {_thing(one): one for one in steps}
    wrong = {
        thing
        for thing, one in latest.items()
        if thing != _thing(step)
        and one.kind is not StepKind.READDRESS  # its own confirm has read the address
        and not same(one.wanted, value_of(one, state))
    }
    return tuple(one for one in steps if _thing(one) in wrong or _together(one) in wrong)


def moves(held: Iterable[Step], steps: Mapping[str, Step]) -> tuple[Step, ...]:
    """The readdresses among the steps ``held``, each with what confirms it.

    A device that went back on these is not there to be asked: it stands where it stood before.
    """
    moved = {step.id: step for step in held if step.kind is StepKind.READDRESS}
    confirms = (
        step
        for step in steps.values()
        if step.kind is StepKind.CONFIRM and not moved.keys().isdisjoint(step.after)
    )
    return (*moved.values(), *confirms)


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
