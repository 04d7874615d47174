"""A dry-run, for people and for programs.

The JSON document, ``cutsheet/dry-run/1`` (values: :mod:`orchestrator.reports.values`; times in
seconds; phases count from 0)::

    facility, digest, proved, stopped
    changes[]    device, source? or destination?, room, setting, as_found, wanted
    sequence[]   id, step, device, source?, destination?, setting?, at, as_found, wanted,
                 after[], behind[] (go first for less silence), why[], phase, order, batch,
                 estimate_s
    phases[]     rooms[], accepts[]
    hazards[]    name, rule, grade, what, where[], fix, accepted
    silence[]    device, source? or destination?, seconds, bound_seconds, on_air
    listeners[]  source, destinations[], also[], sure
    estimate     seconds, bound_seconds
    search       tries, whole (false: it stopped before it had tried all it would)
    lent         {borrower: value}
    mended       {fault: [holders]}
"""

from collections.abc import Mapping, Sequence

from orchestrator.facility.step import Step
from orchestrator.planning.result import DryRun, Listeners, Silence
from orchestrator.reports.changes import change_lines
from orchestrator.reports.hazards import hazard_lines
from orchestrator.reports.layout import heading, item, seconds, table, wrap
from orchestrator.reports.values import Json, change_json, hazard_json, step_json, subject_json
from orchestrator.reports.words import batch_mates, interim_steps, step_words


def text(dry_run: DryRun, digest: str, rooms: Mapping[str, str]) -> str:
    """A dry-run for people: silence and risk first, then changes, sequence, length, digest.

    ``rooms`` gives each device's room. Nothing was written to any device.
    """
    lines = [
        *wrap(f"Dry-run, {dry_run.facility}. Nothing was written to any device."),
        *_verdict(dry_run),
        *heading("Silent during the run"),
        *_silence(dry_run, rooms),
        *heading("At risk"),
        *(hazard_lines(dry_run.hazards) or ["No hazard was found."]),
        *heading("Changes"),
        *(change_lines(dry_run.changes) or ["Everything is as wanted: nothing to change."]),
    ]
    if dry_run.sequence.steps:
        lines += [*heading("Sequence"), *sequence_lines(dry_run)]
        lines += [*heading("Length"), *_length(dry_run, digest)]
    return "\n".join(lines) + "\n"


def _verdict(dry_run: DryRun) -> list[str]:
    blocking = [hazard.name for hazard in dry_run.hazards if hazard.blocks]
    if blocking:
        return wrap(f"Nothing may be written until these are dealt with: {', '.join(blocking)}.")
    if not dry_run.sequence.steps:
        return []
    if not dry_run.proved:
        return wrap("The proof has not passed this sequence: it may not be run.")
    return wrap("The sequence was proved safe after every step, in every order that it allows.")


def _silence(dry_run: DryRun, rooms: Mapping[str, str]) -> list[str]:
    if not dry_run.silence:
        return wrap("Nothing that the tool can see goes silent.")
    entries = sorted(dry_run.silence, key=lambda entry: (not entry.on_air, -entry.seconds))
    rows = [
        (
            _subject(entry),
            rooms.get(entry.device, ""),
            ("source" if entry.source else "listener") + (", ON AIR" if entry.on_air else ""),
            seconds(entry.seconds),
            seconds(entry.bound_seconds),
        )
        for entry in entries
    ]
    lines = table(("what", "room", "is a", "silent for", "at least"), rows)
    lines += wrap("At least: no safe order of these steps makes it shorter.", 2)
    for listeners in dry_run.listeners:
        lines += _listeners(listeners)
    return lines


def _subject(entry: Silence) -> str:
    return f"{entry.device}/{entry.source or entry.destination}"


def _listeners(listeners: Listeners) -> list[str]:
    seen = ", ".join(listeners.destinations)
    match listeners.sure:
        case "known":
            said = f"known listeners: {seen}" if seen else "no known listener"
        case "partly":
            said = f"listeners as far as known: {seen or 'none'}"
        case _:
            said = f"its listeners are not known{f'; seen: {seen}' if seen else ''}"
    if listeners.also:
        said += f"; as the plan says, also heard by: {', '.join(listeners.also)}"
    return wrap(f"{listeners.source}: {said}", 2, 4)


def sequence_lines(dry_run: DryRun) -> list[str]:
    """The steps by phase as numbered lines, each with what it waits for."""
    steps = dry_run.sequence.steps
    if not steps:
        return ["There are no steps."]
    number = {step.id: place for place, step in enumerate(steps, 1)}
    interim = interim_steps(dry_run.sequence)
    others = batch_mates(steps)
    lines: list[str] = []
    for phase in sorted({step.phase for step in steps}):
        lines += _phase(dry_run, phase)
        for step in steps:
            if step.phase == phase:
                mark = f"{number[step.id]}.".rjust(5)
                words = step_words(step, interim=step.id in interim)
                lines += item(mark, f"{step.subject}: {words}")
                lines += _waits(step, number)
                lines += _together([number[one.id] for one in others.get(step.id, ())])
    return lines


def _phase(dry_run: DryRun, phase: int) -> list[str]:
    phases = dry_run.sequence.phases
    rooms = ", ".join(phases[phase].rooms) if phase < len(phases) else ""
    accepts = phases[phase].accepts if phase < len(phases) else ()
    lines = [""]
    if phase > 0:
        lines += wrap("Go or no-go: a person decides here whether to go on.")
    lines += wrap(f"Phase {phase + 1}{f': {rooms}' if rooms else ''}")
    if accepts:
        lines += wrap(f"accepted beside these rooms: {', '.join(accepts)}", 6)
    return lines


def _waits(step: Step, number: Mapping[str, int]) -> list[str]:
    if not step.after:
        return []
    places = ", ".join(str(number[name]) for name in step.after if name in number)
    why = f": {'; '.join(step.why)}" if step.why else ""
    return wrap(f"after {places}{why}", 6, 2)


def _together(places: Sequence[int]) -> list[str]:
    if not places:
        return []
    return wrap(f"in one request with {', '.join(map(str, places))}", 6, 2)


def _length(dry_run: DryRun, digest: str) -> list[str]:
    estimate = dry_run.estimate
    lines = wrap(
        f"About {seconds(estimate.seconds)} in all; no safe order of these steps takes less than "
        f"{seconds(estimate.bound_seconds)}."
    )
    if not dry_run.search.whole:
        lines += wrap(
            f"The search for an order with less silence stopped after {dry_run.search.tries} tries."
        )
    for who, what in dry_run.lent.items():
        lines += wrap(f"Lent from transit: {what} to {who}, until its own is free.")
    for fault, holders in dry_run.mended.items():
        lines += wrap(f"Mended by this run: {fault}, held by {_all(holders)} until now.")
    return [*lines, *wrap(f"Digest of the sequence: {digest}")]


def _all(names: Sequence[str]) -> str:
    return " and ".join(names)


def as_json(dry_run: DryRun, digest: str) -> Json:
    """A dry-run as the document that the module describes."""
    return {
        "schema": "cutsheet/dry-run/1",
        "facility": dry_run.facility,
        "digest": digest,
        "proved": dry_run.proved,
        "stopped": dry_run.stopped,
        "changes": [change_json(change) for change in dry_run.changes],
        "sequence": [step_json(step) for step in dry_run.sequence.steps],
        "phases": [
            {"rooms": list(phase.rooms), "accepts": list(phase.accepts)}
            for phase in dry_run.sequence.phases
        ],
        "hazards": [hazard_json(hazard) for hazard in dry_run.hazards],
        "silence": [
            {
                **subject_json(entry.device, entry.source, entry.destination),
                "seconds": entry.seconds,
                "bound_seconds": entry.bound_seconds,
                "on_air": entry.on_air,
            }
            for entry in dry_run.silence
        ],
        "listeners": [
            {
                "source": listeners.source,
                "destinations": list(listeners.destinations),
                "also": list(listeners.also),
                "sure": listeners.sure,
            }
            for listeners in dry_run.listeners
        ],
        "estimate": {
            "seconds": dry_run.estimate.seconds,
            "bound_seconds": dry_run.estimate.bound_seconds,
        },
        "search": {"tries": dry_run.search.tries, "whole": dry_run.search.whole},
        "lent": dict(dry_run.lent),
        "mended": {fault: list(holders) for fault, holders in dry_run.mended.items()},
    }
