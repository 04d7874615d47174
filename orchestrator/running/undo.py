"""Taking a run back: what it wrote, and only that, as wishes for a run of its own.

The answer is planned, proved and applied like any change. Faults that the run mended stay
mended, by name. What another hand has changed since is asked about.
"""

from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace

from orchestrator.facility.found import AsFound, DeviceState, Found
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue
from orchestrator.facility.wanted import (
    AskedDestination,
    AskedDevice,
    AskedSource,
    Auto,
    SettingValue,
)
from orchestrator.running.events import Event
from orchestrator.running.holders import Holders, holders_of, states_of
from orchestrator.running.keeping import saved
from orchestrator.running.mended import Stay, stays
from orchestrator.running.partly import part_of
from orchestrator.running.present import proved_steps, put
from orchestrator.running.record import RunRecord
from orchestrator.running.unreached import figures_in_doubt, hazards_of, unreached
from orchestrator.running.value import Absent, same, value_of
from orchestrator.running.view import StepState, found_so, in_doubt, networks, step_states

_LANDED = frozenset({StepState.PROVED, StepState.SENT, StepState.UNSURE})
_Line = dict[str, list[Step]]


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
) -> TakeBack:
    """What has to be asked for, so that everything that the run wrote is as it was before.

    ``benched`` are the devices that stood on a bench before the run: nobody heard them. With
    ``devices`` only their part is taken back, and what would be left half-way without them.
    """
    written = written_steps(record, events)
    lines: dict[str, _Line] = {}
    for step in written:
        lines.setdefault(step.device, {}).setdefault(_thing(step), []).append(step)
    if devices is not None:
        lines = part_of(record, events, lines, devices)
    lost = unreached(record, events, now, lines)
    missing = hazards_of(record, now, lost, written)
    lines = {name: line for name, line in lines.items() if name not in lost}
    holds = {name: _held_by(record, events, name, state) for name, state in lost.items()}
    kept = stays(record, lines, now, holds)
    worker = _Worker(record, now, kept, benched, lost)
    asked = {name: worker.device(name, line) for name, line in lines.items()}
    pointed = {step.subject for step in written if step.kind is StepKind.REPOINT}
    asked = _with_stayers(asked, lines, now, worker, pointed)
    hazards = tuple(
        hazard
        for name, line in lines.items()
        for hazard in _changed_since(name, line, now.state(name))
    )
    unsaved = _not_saved(record, events) & lines.keys()
    return TakeBack(asked, tuple(worker.stays), (*missing, *hazards), lost, unsaved)


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
    lines: Mapping[str, _Line],
    now: AsFound,
    worker: "_Worker",
    pointed: AbstractSet[str],
) -> dict[str, AskedDevice]:
    """Ask every destination that the run did not point, and that this may concern, to stay.

    Where a run is taken back half-way, whoever holds a number now need not be who held it before.
    A destination that still points where it did is to hear again what it heard, and must not
    follow whoever happens to be there. So it is with all on the run's own devices, and with
    those elsewhere that point at a number which changes hands. What the run pointed, and is not
    taken back with it, stays with whom it hears now.
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
        for source in worker.before[device].sources.values()
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
                name=destination, listens_to=worker.heard(name, state.hears)
            )
            for destination, state in entry.state.destinations.items()
            if destination not in known.destinations
            and f"{name}/{destination}" not in pointed
            and (own or state.hears in concerned)
        }
        if unmoved:
            joined[name] = replace(known, destinations={**known.destinations, **unmoved})
    return joined


def _pointer(hears: int | str | None) -> ListensTo:
    return ListensTo(number=hears) if isinstance(hears, int) else ListensTo(group=hears)


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


class _Worker:
    """Works out what is asked of each device."""

    def __init__(
        self,
        record: RunRecord,
        now: AsFound,
        kept: Mapping[str, Stay],
        benched: frozenset[str],
        lost: Mapping[str, DeviceState],
    ) -> None:
        self.record = record
        self.lost = lost
        self.before = {name: entry.state for name, entry in record.before.items()}
        self.now = now
        self.kept = kept
        self.stays = [stay.words for stay in kept.values()]
        self.facility = {**states_of(now), **self.before}
        self.then = {name: state for name, state in self.facility.items() if name not in benched}
        self.holders = holders_of(self.then)
        self.held = holders_of(states_of(now))
        self.meant = holders_of({**self.then, **_done(record)})

    def device(self, name: str, line: _Line) -> AskedDevice:
        was = self.before[name]
        sources: dict[str, AskedSource] = {}
        destinations: dict[str, AskedDestination] = {}
        settings: dict[str, SettingValue] = {}
        exact: dict[str, tuple[str, int, str | None]] = {}
        for steps in line.values():
            step = steps[0]
            if step.kind is StepKind.READDRESS and isinstance(step.wanted, AddressValue):
                interface = was.interfaces[step.wanted.interface]
                exact[step.wanted.interface] = (
                    interface.address,
                    interface.prefix,
                    interface.gateway,
                )
            elif step.destination is not None:
                destinations[step.destination] = AskedDestination(
                    name=step.destination, listens_to=self._pointed(steps[-1])
                )
            elif step.source is not None:
                asked = sources.get(step.source, AskedSource(name=step.source))
                sources[step.source] = self._source(step, asked, was)
            elif step.setting is not None:
                settings[step.setting] = was.settings[step.setting]
        for source in was.sources:
            stay = self.kept.get(f"{name}/{source}")
            if stay is not None and stay.number is not None:
                known = sources.get(source, AskedSource(name=source))
                sources[source] = replace(known, number=stay.number, groups=None)
        if any(asked.number is Auto.AUTO for asked in sources.values()):
            self._hold(name, sources)
        return AskedDevice(
            name=name,
            playbook=f"run {self.record.id}, taken back",
            exact=exact,
            sources=sources,
            destinations=destinations,
            settings=settings,
        )

    def _source(self, step: Step, asked: AskedSource, was: DeviceState) -> AskedSource:
        """Add to what is asked of a source what ``step`` wrote of it."""
        name = asked.name
        old = was.sources[name]
        number, groups, label, enabled = asked.number, asked.groups, asked.label, asked.enabled
        if step.kind is StepKind.RENUMBER:
            if step.subject not in self.kept:
                number = Auto.UNASSIGNED if old.number is None else old.number
                groups = tuple(group or "" for group in old.groups) if all(old.groups) else None
        elif step.kind is StepKind.SET:
            label = old.label
        else:
            enabled = old.enabled
        return AskedSource(name=name, number=number, groups=groups, label=label, enabled=enabled)

    def _hold(self, device: str, sources: dict[str, AskedSource]) -> None:
        """Ask by name for the numbers that a device holds, so that none of them is given away.

        What stands on a bench holds nothing yet that anybody would have to heed.
        """
        held = self.now.state(device)
        for name, source in held.sources.items() if held is not None else ():
            asked = sources.get(name, AskedSource(name=name))
            if asked.number is None and source.number is not None:
                sources[name] = replace(asked, number=source.number)

    def _pointed(self, step: Step) -> ListensTo:
        """What a destination that the run pointed is to listen to again."""
        device, destination = step.device, step.destination or ""
        pointer = self.before[device].destinations[destination].hears
        holders = self._of(self.holders, device, pointer)
        if len(holders) > 1:
            return self._stays_pointed(step, f"{pointer}, was a duplicate")
        keepers = [r for r in self._of(self.held, device, pointer) if str(r) in self.kept]
        if keepers and not holders:
            # Nobody was heard there, and now somebody would be.
            return self._stays_pointed(step, f"{pointer}, is held by {keepers[0]}, which stays")
        state = self.now.state(device)
        there = state.destinations.get(destination) if state is not None else None
        hears = there.hears if there is not None else None
        if hears is not None and isinstance(hears, int) != isinstance(pointer, int):
            return _pointer(pointer)  # it went from numbers to groups, or back: by figure
        return self.heard(device, pointer)

    def _stays_pointed(self, step: Step, why: str) -> ListensTo:
        """Whom a destination stays with that can't be pointed back without harm.

        Where the run left it with nobody and somebody comes back to that number, it would hear
        whom it never heard. So it goes back after all, if one whom it heard is alone there by
        then; else it is pointed at nothing.
        """
        heard = step.wanted if isinstance(step.wanted, Hearing) else Hearing()
        figure = heard.group if heard.number is None else heard.number
        holders = self._of(self.meant, step.device, figure)
        stays = ListensTo(source=holders[0]) if len(holders) == 1 else _pointer(figure)
        does = f"keeps listening to {stays}"
        if not holders and self._of_then(step.device, figure):
            pointer = self.before[step.device].destinations[step.destination or ""].hears
            if len(self._of_then(step.device, pointer)) == 1:
                return _pointer(pointer)
            stays, does = ListensTo(), f"is pointed at nothing: at {figure} is somebody again"
        self.stays.append(f"{step.subject} {does}; what it pointed at before, {why}")
        return stays

    def _of_then(self, device: str, pointer: int | str | None) -> tuple[Ref, ...]:
        """Who held what ``device`` pointed at before the run, and will again."""
        holders = self._of(self.holders, device, pointer)
        return tuple(ref for ref in holders if str(ref) not in self.kept)

    def heard(self, device: str, pointer: int | str | None) -> ListensTo:
        """Whom a pointer meant before the run: the source, where it is known, so that it follows.

        One that stays where the run has put it is followed there: on its old number is another.
        What stood on a bench was heard by nobody.
        """
        holders = self._of(self.holders, device, pointer)
        if len(holders) == 1 and holders[0].device in self.lost:
            return _pointer(self._where(holders[0], pointer))
        return ListensTo(source=holders[0]) if len(holders) == 1 else _pointer(pointer)

    def _where(self, ref: Ref, pointer: int | str | None) -> int | str | None:
        """Where a source is, by the ledger, whose device can't be reached and so stays there."""
        source = self.lost[ref.device].sources[ref.name]
        if isinstance(pointer, int):
            return source.number
        legs = self.before[ref.device].sources[ref.name].groups
        return source.groups[legs.index(pointer)] if pointer in legs else pointer

    def _of(self, holders: Holders, device: str, pointer: int | str | None) -> tuple[Ref, ...]:
        """The holders of what ``device`` points at, on the networks on which it stood."""
        if pointer is None or device not in self.facility:
            return ()
        nets = networks(self.facility[device])
        return tuple(dict.fromkeys(ref for net in nets for ref in holders.get((net, pointer), ())))


def _done(record: RunRecord) -> Mapping[str, DeviceState]:
    """The run's devices as they are once all of it is done."""
    states = {name: entry.state for name, entry in record.before.items()}
    for step in record.sequence.steps:
        if step.device in states:
            states[step.device] = put(states[step.device], step, step.wanted)
    return states


def _changed_since(name: str, line: _Line, now: DeviceState | None) -> Iterable[Hazard]:
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
