"""Whether what a run reports is so on the devices, and whether they stand where they should.

The report is made from the ledger alone (``running.view``); the devices are looked at directly.
What changed by itself after the run last set it (a power cycle, another hand) can't be in a
report: those values are left out here, and looked at again at the end.
"""

from collections.abc import Iterable, Mapping, Sequence

from mocks.state import State
from orchestrator.facility.step import StepKind
from orchestrator.running.events import Event
from orchestrator.running.present import state_now
from orchestrator.running.record import RunRecord
from orchestrator.running.view import StepState, in_doubt, silent_now, step_states
from tests.simulation.units import Thing, state_of, thing_of, things, value_in
from tests.simulation.world import World


def untrue(record: RunRecord, events: Sequence[Event], world: World) -> list[str]:
    """What a report of the run would say that is not so."""
    return [*_values(record, events, world), *_silence(record, events, world)]


def _open_things(record: RunRecord, events: Sequence[Event]) -> set[tuple[str, Thing]]:
    """The values that the report itself calls open: in doubt, or moved and not confirmed."""
    doubt = in_doubt(record, events)
    states = step_states(record, events)
    found = set()
    for step in record.sequence.steps:
        if step.id in doubt and (thing := thing_of(step)) is not None:
            found.add((step.device, thing))
        if step.kind is StepKind.CONFIRM and states[step.id] is not StepState.PROVED:
            found.add((step.device, ("address", "")))
    return found


def _values(record: RunRecord, events: Sequence[Event], world: World) -> Iterable[str]:
    open_things = _open_things(record, events)
    for device, told in state_now(record, events).items():
        unit, says = world.units[device], state_of(told)
        for thing in things(says):
            if thing in unit.strays or (device, thing) in open_things:
                continue
            is_so, said = value_in(unit.memory.running, thing), value_in(says, thing)
            if is_so != said:
                yield f"untrue: {device} {' '.join(thing)} is {is_so}, the run says {said}"


def _silence(record: RunRecord, events: Sequence[Event], world: World) -> Iterable[str]:
    silent = {(one.device, one.source): one for one in silent_now(record, events) if one.source}
    for device, entry in record.before.items():
        unit = world.units[device]
        for source, was in entry.state.sources.items():
            if ("enabled", source) in unit.strays:
                continue
            is_on, said = unit.memory.running.sources[source].enabled, silent.get((device, source))
            if was.enabled and not is_on and said is None:
                yield f"untrue: {device}/{source} is silent, and the run does not say so"
            if is_on and said is not None and said.sure:
                yield f"untrue: {device}/{source} is on, the run says it is silent"


def amiss(
    world: World,
    wanted: Mapping[str, State],
    but_for: frozenset[tuple[str, Thing]] = frozenset(),
    *,
    touched: Iterable[str] = (),
) -> list[str]:
    """Where the devices don't stand as ``wanted``; of those ``touched`` also what is saved."""
    found = []
    kept = set(touched)
    for device, state in wanted.items():
        memory = world.units[device].memory
        for thing in things(state):
            if (device, thing) in but_for:
                continue
            meant, is_so = value_in(state, thing), value_in(memory.running, thing)
            if is_so != meant:
                found.append(f"end: {device} {' '.join(thing)} is {is_so}, not {meant}")
            elif device in kept and value_in(memory.saved, thing) != meant:
                found.append(f"end: {device} {' '.join(thing)} is not saved")
    return found
