"""What has to be there still when a step is done.

A device that loses its power goes back to what it had saved: a source that was switched off is on
again, with its old number. So before anything is written that rests on what the run had set, that
is read again. A save rests on all that it is to keep: such a device says that nothing is unsaved,
which is true, and its number may be the one that another source is about to take.
"""

from collections.abc import Iterable, Mapping

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import Step, StepKind
from orchestrator.running.fold import Standing
from orchestrator.running.steps.value import ABSENT, same, value_of

_SETS_NOTHING = frozenset({StepKind.SAVE, StepKind.CONFIRM, StepKind.BY_HAND})
_SWITCH = frozenset({StepKind.DISABLE, StepKind.ENABLE})
_IDENTITY = _SWITCH | {StepKind.RENUMBER}
_RESTS = frozenset({StepKind.RENUMBER, StepKind.ENABLE, StepKind.REPOINT, StepKind.SET})
_LETS_GO = frozenset({StepKind.DISABLE, StepKind.RENUMBER, StepKind.REPOINT})
_MOVES = _SETS_NOTHING | {StepKind.READDRESS}
_BEGUN = (Standing.INTENDED, Standing.PROVED)


def rests_on(step: Step, steps: Mapping[str, Step], proved: Iterable[str]) -> tuple[Step, ...]:
    """The proved steps, in order, whose values have to be there when ``step`` is done.

    A source is renumbered only while it is off; it is switched on only with the number that it
    was given; its device is readdressed only while all that was switched off is, and all else
    that was set is there: what comes before a readdress can't be done again after it. And where a
    step comes after others of its own device, what these let go of has to be let go of still.
    """
    if step.kind is StepKind.SAVE:
        return unsaved(step, steps, proved)
    own = [one for one in (steps[name] for name in proved) if one.device == step.device]
    if step.kind is StepKind.READDRESS:
        rests = [one for one in own if one.kind not in _MOVES]
    elif step.kind in _RESTS:
        rests = [
            one
            for one in own
            if (step.kind in _IDENTITY and one.kind in _IDENTITY and step.source == one.source)
            or (one.kind in _LETS_GO and one.id in step.after)
        ]
    else:
        rests = []
    return tuple(sorted(rests, key=lambda one: one.order))


def values_set(device: str, steps: Mapping[str, Step], proved: Iterable[str]) -> tuple[Step, ...]:
    """The proved steps of ``device``, in order, that set a value other than its address."""
    own = (steps[name] for name in proved if steps[name].device == device)
    return tuple(sorted((s for s in own if s.kind not in _MOVES), key=lambda one: one.order))


def unsaved(save: Step, steps: Mapping[str, Step], proved: Iterable[str]) -> tuple[Step, ...]:
    """The proved steps of the device of ``save`` that no proved save surely kept, in order."""
    names = tuple(proved)
    own = [steps[name] for name in names if steps[name].device == save.device]
    kept = saved(save.device, steps, names)
    left = (step for step in own if step.kind not in _SETS_NOTHING and step.id not in kept)
    return tuple(sorted(left, key=lambda step: step.order))


def saved(device: str, steps: Mapping[str, Step], proved: Iterable[str]) -> set[str]:
    """The steps of ``device`` that a proved save surely kept."""
    kept: set[str] = set()
    for step in (steps[name] for name in proved):
        if step.device == device and step.kind is StepKind.SAVE:
            kept |= _before(step, steps)
    return kept


def _before(save: Step, steps: Mapping[str, Step]) -> set[str]:
    """The steps of its own device that a step comes after, at once or by way of others of them."""
    found: set[str] = set()
    left = [save]
    while left:
        names = {name for name in left.pop().after if steps[name].device == save.device} - found
        found |= names
        left += [steps[name] for name in names]
    return found


def onward(
    step: Step, held: Iterable[Step], own: Iterable[Step], standings: Mapping[str, Standing]
) -> tuple[Step, ...]:
    """The begun steps that may have set further on what others let go of, on which ``step`` rests.

    A number that was let go of is let go of still where a later step of the run has put its source
    by now. So it is with a pointer; not with a switch, nor with what ``step`` itself is about.
    ``own`` are the steps of its device, ``held`` those of them that it rests on.
    """
    left = {_thing(one): one for one in held if one.kind in _LETS_GO and one.id in step.after}
    if not left:
        return ()
    return tuple(
        one
        for one in own
        if one.kind in (StepKind.RENUMBER, StepKind.REPOINT)
        and standings.get(one.id) is Standing.INTENDED
        and _thing(one) in left
        and left[_thing(one)].order < one.order
        and (step.source is None or step.source != one.source)
        and not same(one.wanted, left[_thing(one)].as_found)
    )


def overtaken_by(
    step: Step, own: Iterable[Step], standings: Mapping[str, Standing]
) -> tuple[Step, ...]:
    """The later steps, in order, whose values make it needless to do ``step`` once more.

    A device went back on a value, so all that the run had set it to in turn is done again; but by
    now somebody has put the last of these back. A source that is on again where it is meant to be
    need not go off, and a number that is where it is meant to be need not go by way of transit.
    Only while all that these come after is done: that may need what ``step`` wants. What need not
    come before them need not be done. ``own`` are the steps of its device.
    """
    if step.kind not in _RESTS | _SWITCH:
        return ()
    things = {_thing(step), _together(step)}
    since = sorted((one for one in own if one.order > step.order), key=lambda one: one.order)
    later = [one for one in since if _thing(one) in things and standings.get(one.id) in _BEGUN]
    if not any(_thing(one) == _thing(step) for one in later):
        return ()
    own_line = {step.id, *(one.id for one in since if _thing(one) in things)}
    before = {name for one in later for name in one.after if name not in own_line}
    if any(standings.get(name) is not Standing.PROVED for name in before):
        return ()
    return tuple(later)


def overtaken(later: Iterable[Step], state: DeviceState) -> bool:
    """Whether the values that the last of ``later`` set are there."""
    latest = {_thing(one): one for one in later}
    return bool(latest) and all(same(s.wanted, value_of(s, state)) for s in latest.values())


def lost(
    step: Step,
    held: Iterable[Step],
    state: DeviceState,
    besides: Iterable[Step] = (),
    mates: Iterable[Step] = (),
) -> tuple[Step, ...]:
    """Those of the steps ``held``, in order, that have to be done again, as ``state`` shows.

    What ``step`` is itself about is for its own look to judge, and what was set again since, by a
    step of ``besides``, is as that left it. ``mates`` go in one request with ``step``: what they
    want may be there by now, or not yet. Where the number of a source is lost, so is its switch:
    it is renumbered only while it is off. Where anything is lost, so is what else of ``besides``
    is seen to be, that one resume may mend all.
    """
    steps, others, coming = tuple(held), tuple(besides), tuple(mates)
    if all(same(one.wanted, value_of(one, state)) for one in (*steps, *others)):
        return ()  # most often
    known, things = {one.id for one in steps}, {_thing(one) for one in steps}
    since = [one for one in others if one.id not in known and _thing(one) in things]
    if not _wrong(step, (*steps, *since), state, coming):
        return ()
    seen = [one for one in others if one.id not in known and value_of(one, state) is not ABSENT]
    every = sorted((*steps, *seen), key=lambda one: one.order)
    wrong = _wrong(step, every, state, coming)
    return tuple(one for one in every if _thing(one) in wrong or _together(one) in wrong)


def _wrong(
    step: Step, steps: Iterable[Step], state: DeviceState, coming: Iterable[Step]
) -> set[tuple[str, str]]:
    """The things that are not as the last of ``steps``, or one that is ``coming``, has them."""
    latest = {_thing(one): one for one in sorted(steps, key=lambda one: one.order)}
    there = {_thing(one) for one in coming if same(one.wanted, value_of(one, state))}
    return {
        thing
        for thing, one in latest.items()
        if thing != _thing(step)
        and thing not in there
        and one.kind is not StepKind.READDRESS  # its own confirm has read the address
        and not same(one.wanted, value_of(one, state))
    }


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
    return "number" if thing == "switch" else thing, name
