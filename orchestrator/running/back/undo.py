"""Taking a run back: what it wrote, and only that, as wishes for a run of its own.

The answer is planned, proved and applied like any change. Faults that the run mended stay
mended, by name. What another hand has changed since is asked about.
"""

from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace

from orchestrator.facility.found import AsFound, DeviceState, Found
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue
from orchestrator.facility.wanted import (
    AskedDestination,
    AskedDevice,
    SettingValue,
)
from orchestrator.running.back.mended import stays
from orchestrator.running.back.partly import part_of
from orchestrator.running.back.unreached import figures_in_doubt, hazards_of, unreached
from orchestrator.running.back.wishes import Line, Wisher
from orchestrator.running.events import Event
from orchestrator.running.present import proved_steps
from orchestrator.running.record import RunRecord
from orchestrator.running.steps.keeping import saved
from orchestrator.running.steps.value import Absent, same, value_of
from orchestrator.running.view import StepState, found_so, in_doubt, step_states

_LANDED = frozenset({StepState.PROVED, StepState.SENT, StepState.UNSURE})


@dataclass(frozen=True, slots=True)
class TakeBack:
    """What is asked for so that a run is taken back, and what is not taken back.

    ``stays`` names, in words, each mended fault that stays mended. ``hazards`` are values that
    somebody else changed since, and devices that can't be reached: ``lost``, as the run left them.
    ``save_first`` are devices that the run set and did not save.
    """

    asked: Mapping[str, AskedDevice]
    stays: tuple[str, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    lost: Mapping[str, DeviceState] = field(default_factory=dict)
    save_first: frozenset[str] = frozenset()


def written_steps(record: RunRecord, events: Sequence[Event]) -> tuple[Step, ...]:
    """The steps whose write is, or may be, in a device: what there is to take back."""
    states = step_states(record, events)
    untouched = found_so(record, events)
    doubt = in_doubt(record, events)
    return tuple(
        step
        for step in record.sequence.steps
        if step.kind not in {StepKind.CONFIRM, StepKind.SAVE}
        and step.id not in untouched
        and (states[step.id] in _LANDED or step.id in doubt)
    )


def addresses(record: RunRecord) -> Mapping[str, tuple[str, ...]]:
    """Where each device of a run may answer: where it stood before, and all it was moved to."""
    found: dict[str, dict[str, None]] = {}
    for device, entry in record.before.items():
        found.setdefault(device, {})[entry.at] = None
    for step in record.sequence.steps:
        if step.kind is StepKind.READDRESS and isinstance(step.wanted, AddressValue):
            found.setdefault(step.device, {})[step.wanted.address] = None
    return {device: tuple(where) for device, where in found.items()}


def take_back(
    record: RunRecord,
    events: Sequence[Event],
    now: AsFound,
    benched: frozenset[str] = frozenset(),
    devices: frozenset[str] | None = None,
    *,
    away: frozenset[str] = frozenset(),
    parts: Sequence[tuple[RunRecord, Sequence[Event]]] = (),
) -> TakeBack:
    """What has to be asked for, so that everything that the run wrote is as it was before.

    ``benched`` are the devices that stood on a bench before the run: nobody heard them. With
    ``devices`` only their part is taken back, and what would be left half-way without them.
    ``away`` are the devices that stand on a bench now; those that are not brought back from there
    can be heard by nobody. ``parts`` are the runs that took back a part of it before, oldest first.
    """
    written = written_steps(record, events)
    lines: dict[str, dict[str, list[Step]]] = {}
    for step in written:
        lines.setdefault(step.device, {}).setdefault(_thing(step), []).append(step)
    for step in _renumbered_since(record, lines, parts):
        lines.setdefault(step.device, {}).setdefault(_thing(step), []).append(step)
    if devices is not None:
        lines = part_of(record, events, lines, devices)
    lost = unreached(record, events, now, lines)
    missing = hazards_of(record, now, lost, written)
    lines = {name: line for name, line in lines.items() if name not in lost}
    holds = {name: _held_by(record, events, name, state) for name, state in lost.items()}
    kept = stays(record, lines, now, holds)
    wisher = Wisher(record, now, kept, benched, lines=lines, lost=lost, holds=holds, away=away)
    asked = {name: wisher.device(name, line) for name, line in lines.items()}
    pointed = {step.subject for step in written if step.kind is StepKind.REPOINT}
    asked = _with_stayers(asked, lines, now, wisher, pointed=pointed, followed=_followed(parts))
    hazards = tuple(
        hazard
        for name, line in lines.items()
        for hazard in _changed_since(name, line, now.state(name))
    )
    unsaved = _not_saved(record, events) & lines.keys()
    return TakeBack(asked, tuple(wisher.stays), (*missing, *hazards), lost, unsaved)


def _held_by(
    record: RunRecord, events: Sequence[Event], name: str, state: DeviceState
) -> tuple[int | str, ...]:
    """The numbers and groups that a device which can't be reached holds, or may hold."""
    held = (
        figure for source in state.sources.values() for figure in (source.number, *source.groups)
    )
    surely = tuple(figure for figure in held if figure is not None)
    return (*surely, *figures_in_doubt(record, events, name))


def _not_saved(record: RunRecord, events: Sequence[Event]) -> frozenset[str]:
    """The devices that boot with what is saved, and have, or may have, something unsaved."""
    steps = {step.id: step for step in record.sequence.steps}
    savers = {step.device for step in steps.values() if step.kind is StepKind.SAVE}
    proved = proved_steps(events)
    kept = {name for device in savers for name in saved(device, steps, proved)}
    written = written_steps(record, events)
    return frozenset(s.device for s in written if s.device in savers and s.id not in kept)


def _with_stayers(
    asked: Mapping[str, AskedDevice],
    lines: Mapping[str, Line],
    now: AsFound,
    wisher: Wisher,
    *,
    pointed: AbstractSet[str],
    followed: Mapping[str, "_Followed"],
) -> dict[str, AskedDevice]:
    """Ask every destination that the run did not point, and that this may concern, to stay.

    Where a run is taken back half-way, whoever holds a number now need not be who held it before.
    A destination that still points where it did is to hear again what it heard, and must not
    follow whoever happens to be there. So it is with all on the run's own devices, and with
    those elsewhere that point at a number which changes hands. What the run pointed, and is not
    taken back with it, stays with whom it hears now. What was ``followed`` somewhere when a part
    was taken back is to hear whom it heard before that.
    """
    concerned = {
        figure
        for line in lines.values()
        for steps in line.values()
        for step in steps
        for value in (step.as_found, step.wanted)
        if isinstance(value, Assigned)
        for figure in (value.number, *value.groups)
    }
    concerned |= {
        figure
        for device in lines
        for source in wisher.before[device].sources.values()
        for figure in (source.number, *source.groups)
    }
    concerned.discard(None)
    joined = dict(asked)
    for name, entry in now.devices.items():
        if not isinstance(entry, Found):
            continue
        known = joined.get(name, AskedDevice(name=name, playbook="as it is"))
        own = name in lines
        unmoved = {
            destination: AskedDestination(
                name=destination,
                listens_to=wisher.heard(name, state.hears if before is None else before.was),
            )
            for destination, state in entry.state.destinations.items()
            for before in (_pointed_before(followed, f"{name}/{destination}", state.hears),)
            if destination not in known.destinations
            and f"{name}/{destination}" not in pointed
            and (own or before is not None or state.hears in concerned)
        }
        if unmoved:
            joined[name] = replace(known, destinations={**known.destinations, **unmoved})
    return joined


def _renumbered_since(
    record: RunRecord,
    lines: Mapping[str, Line],
    parts: Sequence[tuple[RunRecord, Sequence[Event]]],
) -> list[Step]:
    """Where parts of the run were taken back, what gave a number to a source that it had left.

    That one of a duplicate's holders got a number of its own, so that it need not go back there:
    who that is may be chosen otherwise once all is taken back.
    """
    return [
        step
        for part, events in parts
        for step in written_steps(part, events)
        if step.kind is StepKind.RENUMBER
        and step.device in record.before
        and _thing(step) not in lines.get(step.device, {})
    ]


@dataclass(frozen=True, slots=True)
class _Followed:
    """Where a destination pointed before a part of the run was taken back, and after that."""

    was: int | str | None
    to: int | str | None


def _followed(parts: Sequence[tuple[RunRecord, Sequence[Event]]]) -> Mapping[str, _Followed]:
    """The destinations that followed whom they heard, when parts of a run were taken back."""
    found: dict[str, _Followed] = {}
    for record, events in parts:
        for step in written_steps(record, events):
            if step.kind is StepKind.REPOINT:
                first = found.get(step.subject)
                was = _figure(step.as_found) if first is None else first.was
                found[step.subject] = _Followed(was, _figure(step.wanted))
    return found


def _pointed_before(
    followed: Mapping[str, _Followed], destination: str, hears: int | str | None
) -> _Followed | None:
    """None where nothing has followed, or another hand has pointed it elsewhere since."""
    one = followed.get(destination)
    return one if one is not None and one.to == hears else None


def _figure(value: StepValue) -> int | str | None:
    assert isinstance(value, Hearing), "what a repoint is about"
    return value.group if value.number is None else value.number


def _thing(step: Step) -> str:
    match step.kind:
        case StepKind.DISABLE | StepKind.ENABLE:
            return f"{step.source} enabled"
        case StepKind.RENUMBER:
            return f"{step.source} number"
        case StepKind.REPOINT:
            return f"{step.destination} pointer"
        case StepKind.READDRESS if isinstance(step.wanted, AddressValue):
            return f"{step.wanted.interface} address"
        case _:
            return f"{step.source or ''} {step.setting}"


def _changed_since(name: str, line: Line, now: DeviceState | None) -> Iterable[Hazard]:
    """Values that are neither what the run wrote nor what was there before it."""
    if now is None:
        return
    for steps in line.values():
        current = value_of(steps[0], now)
        known: list[StepValue] = [steps[0].as_found, *(step.wanted for step in steps)]
        if any(same(value, current) for value in known):
            continue
        shown = "missing" if isinstance(current, Absent) else current
        yield Hazard(
            name=f"changed-since:{steps[0].subject}:{steps[0].kind}",
            rule="H7",
            grade=Grade.NEEDS_NAME,
            what=f"{steps[0].subject}: the run left {_last(steps)}, but it is {shown} now; "
            "somebody else changed it since",
            where=(steps[0].subject, name),
            fix=f"find out who and why; accept it by name to put it back to {steps[0].as_found}",
        )


def _last(steps: Sequence[Step]) -> Assigned | AddressValue | Hearing | SettingValue | None:
    return steps[-1].wanted
