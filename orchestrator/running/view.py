"""What the stored events of a run come to: its steps, its state, and who is silent because of it.

All of it is a pure fold, so the ledger, the reports and the command line tell the same story.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from ipaddress import IPv4Network
from itertools import product

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import Step, StepKind
from orchestrator.running.events import (
    Agreed,
    Event,
    Failed,
    Failure,
    Finished,
    Intended,
    Paused,
    Proved,
    Resumed,
    Sent,
)
from orchestrator.running.present import state_now
from orchestrator.running.record import RunRecord
from orchestrator.running.terms import Terms


class StepState(StrEnum):
    """Where a step of a run stands."""

    WAITING = "waiting"
    INTENDED = "intended"
    SENT = "sent"
    UNSURE = "unsure"
    PROVED = "proved"
    FAILED = "failed"


class RunState(StrEnum):
    """Where a run stands.

    ``running``: begun and neither paused nor finished; the ledger can't tell whether its process
    still lives, the facility's lock can. ``undoing``: a run that takes it back has begun.
    ``partly_undone``: one has ended that took back some rooms only, or left devices that it could
    not reach; the run does not go on any more.
    """

    RUNNING = "running"
    PAUSED = "paused"
    FINISHED = "finished"
    UNDOING = "undoing"
    UNDONE = "undone"
    PARTLY_UNDONE = "partly_undone"


UNFINISHED = frozenset({RunState.RUNNING, RunState.PAUSED, RunState.UNDOING})


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLine:
    """One run in a list of runs. ``taken_back_by`` is the run that undoes or undid it.

    ``leaves`` are the devices that it could not reach, and that are still to be taken back.
    """

    id: str
    title: str
    made_at: str
    state: RunState
    undoes: str | None = None
    taken_back_by: str | None = None
    leaves: tuple[str, ...] = ()

    @property
    def unfinished(self) -> bool:
        """Whether the run still owns the identities of its devices."""
        return self.state in UNFINISHED


@dataclass(frozen=True, slots=True, kw_only=True)
class Silent:
    """A source that the run has silenced, or a destination that lost what it heard.

    ``sure`` is False where a write in doubt leaves it open. ``for_good``: the sequence does not
    bring it back. ``heard_by`` names destinations, of the run's own devices, that heard the
    source before and hear nothing now.
    """

    device: str
    source: str | None = None
    destination: str | None = None
    sure: bool = True
    for_good: bool = False
    heard_by: tuple[str, ...] = ()

    @property
    def subject(self) -> str:
        """``device/source`` or ``device/destination``."""
        return f"{self.device}/{self.source or self.destination}"


def step_states(record: RunRecord, events: Iterable[Event]) -> Mapping[str, StepState]:
    """Where each step stands, by its id; a step without events is waiting."""
    states = dict.fromkeys((step.id for step in record.sequence.steps), StepState.WAITING)
    for event in events:
        match event:
            case Intended(step=step):
                states[step] = StepState.INTENDED
            case Sent(step=step, known=known):
                states[step] = StepState.SENT if known else StepState.UNSURE
            case Proved(step=step):
                states[step] = StepState.PROVED
            case Failed(step=step):
                states[step] = StepState.FAILED
            case _:
                pass
    return states


_READ_TOLD = frozenset({Failure.NOT_DONE, Failure.OTHER_HAND})
"""Failures that a read-back settles: the wanted value is surely not there."""


@dataclass(slots=True)
class _Trace:
    """What the events tell of one step's writes."""

    state: StepState = StepState.WAITING
    landed: bool = False
    unsure: bool = False


def _traces(events: Iterable[Event]) -> Mapping[str, _Trace]:
    """Follow each step's writes.

    Once something may have been sent, only a read-back takes the doubt away. A process that died
    (two intents in a row, or a resume after an intent) may have sent the write without a word.
    """
    traces: dict[str, _Trace] = {}
    for event in events:
        match event:
            case Intended(step=step):
                trace = traces.setdefault(step, _Trace())
                trace.landed |= trace.state is StepState.INTENDED
                trace.state = StepState.INTENDED
            case Sent(step=step):
                trace = traces.setdefault(step, _Trace())
                trace.state, trace.landed = StepState.SENT, True
            case Proved(step=step, already=already):
                trace = traces.setdefault(step, _Trace())
                trace.state, trace.unsure = StepState.PROVED, False
                trace.landed |= not already
            case Failed(step=step, why=why, unsure=unsure):
                trace = traces.setdefault(step, _Trace())
                trace.state, trace.unsure = StepState.FAILED, trace.unsure or unsure
                trace.landed |= unsure
                if why in _READ_TOLD and not unsure:
                    trace.landed = trace.unsure = False
            case Resumed():
                for trace in traces.values():
                    trace.landed |= trace.state is StepState.INTENDED
            case _:
                pass
    return traces


def in_doubt(record: RunRecord, events: Iterable[Event]) -> frozenset[str]:
    """Steps whose write may or may not be in the device: only looking can tell."""
    traces = _traces(events)
    writes = (step.id for step in record.sequence.steps if step.kind is not StepKind.CONFIRM)
    return frozenset(step for step in writes if step in traces and _doubtful(traces[step]))


def _doubtful(trace: _Trace) -> bool:
    if trace.state is StepState.FAILED:
        return trace.landed or trace.unsure
    return trace.state in {StepState.INTENDED, StepState.SENT}


def found_so(record: RunRecord, events: Iterable[Event]) -> frozenset[str]:
    """Proved steps of which the run surely sent nothing: it was so when the run came to them."""
    traces = _traces(events)
    return frozenset(
        step.id
        for step in record.sequence.steps
        if (trace := traces.get(step.id)) is not None
        and trace.state is StepState.PROVED
        and not trace.landed
    )


def failures(events: Iterable[Event]) -> Mapping[str, Failed]:
    """The steps that stand failed, with the event that says why; a later attempt clears it."""
    found: dict[str, Failed] = {}
    for event in events:
        match event:
            case Failed(step=step):
                found[step] = event
            case Intended(step=step) | Sent(step=step) | Proved(step=step):
                found.pop(step, None)
            case _:
                pass
    return found


def terms_now(record: RunRecord, events: Iterable[Event]) -> Terms:
    """The terms on which a run goes on: those given last, at a resume, or those of its record."""
    given = [event.terms for event in events if isinstance(event, Agreed)]
    return given[-1] if given else record.terms


def run_state(record: RunRecord, events: Iterable[Event]) -> RunState:
    """Where the run stands by its own events; :func:`run_lines` knows of undoing as well."""
    state = RunState.RUNNING
    for event in events:
        match event:
            case Paused():
                state = RunState.PAUSED
            case Resumed():
                state = RunState.RUNNING
            case Finished():
                state = RunState.FINISHED
            case _:
                pass
    if state is not RunState.FINISHED and not record.sequence.steps:
        return RunState.FINISHED
    return state


def run_lines(runs: Sequence[tuple[RunRecord, Sequence[Event]]]) -> tuple[RunLine, ...]:
    """The list of runs, oldest first as given.

    A run is undone when a run that takes it back is finished and has not itself been undone; in
    part, if that took back some rooms only or left devices out.
    """
    own = {record.id: run_state(record, events) for record, events in runs}
    back: dict[str, list[str]] = {}
    for record, _ in runs:
        if record.undoes is not None:
            back.setdefault(record.undoes, []).append(record.id)
    states: dict[str, RunState] = {}
    by: dict[str, str | None] = {}
    leaves: dict[str, tuple[str, ...]] = {}
    records = {record.id: record for record, _ in runs}
    for record, _ in reversed(runs):
        states[record.id], by[record.id] = own[record.id], None
        for other in sorted(back.get(record.id, []), key=lambda name: _weight(states.get(name))):
            taker, stands = records[other], states.get(other)
            if stands is RunState.FINISHED and (taker.rooms or taker.leaves):
                states[record.id], by[record.id] = RunState.PARTLY_UNDONE, other
                leaves[record.id] = taker.leaves
            elif stands is RunState.FINISHED:
                states[record.id], by[record.id] = RunState.UNDONE, other
                leaves.pop(record.id, None)
                break
            elif stands in UNFINISHED:
                states[record.id], by[record.id] = RunState.UNDOING, other
    return tuple(
        RunLine(
            id=record.id,
            title=record.title,
            made_at=record.made_at,
            state=states[record.id],
            undoes=record.undoes,
            taken_back_by=by[record.id],
            leaves=leaves.get(record.id, ()),
        )
        for record, _ in runs
    )


def _weight(state: RunState | None) -> int:
    """What is going on counts more than what has ended, which is the first to be looked at."""
    return 0 if state is RunState.FINISHED else 1


def silent_now(record: RunRecord, events: Sequence[Event]) -> tuple[Silent, ...]:
    """What was heard, or on, before the run and is silent now because of it.

    Sources first, in the order in which the sequence silences them; then destinations that lost
    a source which is itself not silent. What the run's devices don't tell is not in it:
    listeners on other devices are not known here.
    """
    now = state_now(record, events)
    before = {name: found.state for name, found in record.before.items()}
    doubt = in_doubt(record, events)
    deaf = _deaf(before, now)
    deaf_to: dict[tuple[str, str], list[str]] = defaultdict(list)
    for where, heard in deaf.items():
        for heard_source in heard:
            deaf_to[heard_source].append(where)
    silent: list[Silent] = []
    for (device, source), switches in _switches(record).items():
        was = before[device].sources.get(source) if device in before else None
        if was is None or not was.enabled:
            continue
        open_switch = any(step.id in doubt for step in switches)
        if now[device].sources[source].enabled and not open_switch:
            continue
        silent.append(
            Silent(
                device=device,
                source=source,
                sure=not open_switch,
                for_good=not any(step.kind is StepKind.ENABLE for step in switches),
                heard_by=tuple(deaf_to.get((device, source), ())),
            )
        )
    named = {where for entry in silent for where in entry.heard_by}
    for where in deaf:
        if where not in named:
            device, _, name = where.partition("/")
            silent.append(Silent(device=device, destination=name))
    return tuple(silent)


def _switches(record: RunRecord) -> Mapping[tuple[str, str], Sequence[Step]]:
    """Of each source that a step is about, its disables and enables, in order."""
    found: dict[tuple[str, str], list[Step]] = {}
    for step in record.sequence.steps:
        if step.source is not None:
            own = found.setdefault((step.device, step.source), [])
            if step.kind in {StepKind.DISABLE, StepKind.ENABLE}:
                own.append(step)
    return found


Heard = frozenset[tuple[str, str]]


def hearing(states: Mapping[str, DeviceState]) -> Mapping[str, Heard]:
    """Which enabled sources each destination hears, by ``device/destination``.

    A number or group means a source on a network that both devices stand on.
    """
    nets = {name: networks(state) for name, state in states.items()}
    sending: dict[tuple[IPv4Network, int | str], set[tuple[str, str]]] = {}
    for device, state in states.items():
        for name, source in state.sources.items():
            for net, value in product(nets[device], (source.number, *source.groups)):
                if source.enabled and value is not None:
                    sending.setdefault((net, value), set()).add((device, name))
    return {
        f"{listener}/{name}": frozenset(
            source
            for net in nets[listener]
            if destination.hears is not None
            for source in sending.get((net, destination.hears), ())
        )
        for listener, state in states.items()
        for name, destination in state.destinations.items()
    }


def networks(state: DeviceState) -> frozenset[IPv4Network]:
    """The networks on which a device stands, by its own addresses."""
    return frozenset(
        IPv4Network(f"{interface.address}/{interface.prefix}", strict=False)
        for interface in state.interfaces.values()
    )


def _deaf(before: Mapping[str, DeviceState], now: Mapping[str, DeviceState]) -> Mapping[str, Heard]:
    """Destinations that heard something before and hear nothing now, with what they heard."""
    hears_now = hearing(now)
    return {
        where: heard
        for where, heard in hearing(before).items()
        if heard and not hears_now.get(where)
    }
