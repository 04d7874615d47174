"""What a look round finds in the middle of a run: everything is read, and held against the ledger.

A run's own devices must show exactly what its proved steps left, and what was there before where
no step was done. Of the rest an audit speaks; what it said before the run is not said again, and
what it says of things that the run is about is left to the exact comparison. What a split leaves
on a transit number is the run's own doing until its later phase is done.
"""

from collections.abc import Iterable, Iterator, Sequence

from orchestrator.facility.found import AsFound, DeviceState, Found, NotFound
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import StepKind
from orchestrator.running.events import Event
from orchestrator.running.present import proved_steps, state_now
from orchestrator.running.record import RunRecord

_EXACT = ("differs:", "hears:")


def look_round(
    record: RunRecord, events: Sequence[Event], found: AsFound, audit: Iterable[Hazard]
) -> tuple[str, ...]:
    """All that is not as it should be, in words; nothing: it is clean.

    ``found`` is a survey made now, ``audit`` what an audit of it says.
    """
    return tuple(
        dict.fromkeys(
            [
                *_missing(record, found),
                *_changed(record, events, found),
                *_audited(record, events, audit),
            ]
        )
    )


def _missing(record: RunRecord, found: AsFound) -> Iterator[str]:
    for name, entry in found.devices.items():
        if isinstance(entry, NotFound) and name not in record.absent:
            yield f"{name} does not answer ({entry.why})"


def _changed(record: RunRecord, events: Sequence[Event], found: AsFound) -> Iterator[str]:
    for name, meant in state_now(record, events).items():
        now = found.devices.get(name)
        if not isinstance(now, Found):
            continue
        if now.state.identity.serial != meant.identity.serial:
            yield f"{name}: {now.state.identity} answers, not {meant.identity}"
            continue
        for what, value, should in _differences(meant, now.state):
            yield f"{name}{what} is {value}, and should be {should} now"


def _differences(meant: DeviceState, now: DeviceState) -> Iterator[tuple[str, object, object]]:
    for name, interface in meant.interfaces.items():
        there = now.interfaces.get(name)
        if there is None or there.address != interface.address:
            yield f", {name}", there.address if there else "missing", interface.address
    for name, source in meant.sources.items():
        held = now.sources.get(name)
        if held is None:
            yield f"/{name}", "missing", "there"
            continue
        if (held.number, held.groups) != (source.number, source.groups):
            yield f"/{name}", _numbered(held.number), _numbered(source.number)
        if held.enabled != source.enabled:
            yield f"/{name}", _switched(on=held.enabled), _switched(on=source.enabled)
    for name, destination in meant.destinations.items():
        heard = now.destinations.get(name)
        if heard is None or heard.hears != destination.hears:
            shown = "missing" if heard is None else f"pointed at {heard.hears}"
            yield f"/{name}", shown, f"at {destination.hears}"


def _numbered(number: int | None) -> str:
    return "without a number" if number is None else f"number {number}"


def _switched(*, on: bool) -> str:
    return "on" if on else "off"


def _audited(record: RunRecord, events: Sequence[Event], audit: Iterable[Hazard]) -> Iterator[str]:
    proved = set(proved_steps(events))
    own = {step.subject for step in record.sequence.steps if step.kind is not StepKind.SAVE}
    waiting = {
        name
        for step in record.sequence.steps
        if step.id not in proved
        for name in (step.subject, step.device)
    }
    for hazard in audit:
        if hazard.name in record.known or hazard.grade is Grade.INFORMATION:
            continue
        if hazard.name.startswith(_EXACT) and own.issuperset(hazard.where):
            continue
        if hazard.name.startswith(("transit:", "unsaved:")) and waiting.issuperset(hazard.where):
            continue
        yield hazard.what
