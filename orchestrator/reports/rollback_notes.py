"""Rollback notes: how a person with a browser, and without this tool, takes a run back.

They are written before the first write and again after each step, and are true each time: what is
silent, the cautions, the way back step by step, what stays as it is, each step of the run with
where it stands, and every value before the run. They hold no secret. ``since`` words one event
more, for a list at the end of notes that are too long to be written anew at each step.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path

from orchestrator.facility.step import Step, StepKind
from orchestrator.reports import files
from orchestrator.reports.cautions import CAUTIONS
from orchestrator.reports.markdown import bullet, code, paragraph, prose, section
from orchestrator.reports.rollback_steps import (
    Field,
    all_fields,
    entry,
    field_name,
    fields,
    step_lines,
)
from orchestrator.reports.way_back import WayBack, way_back
from orchestrator.reports.words import FAILURES, step_words
from orchestrator.running.events import Event, Failed, Intended, Proved, Sent
from orchestrator.running.present import proved_steps
from orchestrator.running.record import RunRecord
from orchestrator.running.view import (
    Silent,
    StepState,
    failures,
    in_doubt,
    silent_now,
    step_states,
)

SINCE = (
    *section("Done since"),
    *paragraph(
        "What the run did after all that stands above, the latest last. On the way back begin "
        "here: from the last line upward, one at a time, set each value back from what it became "
        "to what it was, and see it on the unit's page before the next. What was begun, and no "
        "line further down says how it ended: look first, it is one or the other. Leave what "
        "stands under 'What stays mended'. Save each unit that has to save before you go to "
        "another. What was on and was switched off is silent. "
        "Then go on with 'The way back' above."
    ),
    "",
)
"""What stands before the first line of the list at the end."""


def since(steps: Mapping[str, Step], event: Event) -> list[str]:
    """The lines, at most one entry, that tell of ``event`` at the end of the notes."""
    step = steps.get(getattr(event, "step", ""))
    if step is None or (said := _told(step, event)) is None:
        return []
    return bullet(f"{prose(step.id)}, {code(step.subject)}: {said}")


def _told(step: Step, event: Event) -> str | None:
    silent = step.kind is StepKind.CONFIRM
    match event:
        case Intended() if not silent:
            return f"begun at {code(step.at)}: {_written(step)}."
        case Sent(known=False) | Failed(unsure=True) if not silent:
            return f"in doubt. Look: it is either {' or '.join(_both(step))}."
        case Failed(why=why, said=said):
            words = f" ({prose(said)})" if said else ""
            return f"not done, nothing to put back: {FAILURES[why]}{words}."
        case Proved(already=True):
            return f"was so already, leave it: {_written(step)}."
        case Proved():
            return f"done: {_written(step)}."
        case _:
            return None


def write(path: Path, text: str) -> None:
    """Put the notes on disk at ``path``, whole and durably.

    Raises:
        CallError: the file can't be written.
    """
    files.write(path, text)


def text(record: RunRecord, events: Sequence[Event]) -> str:
    """The rollback notes in Markdown, true after the last of ``events``."""
    back = way_back(record, events)
    lines = [
        *_title(record, events),
        *section("Silent now"),
        *_silent(silent_now(record, events)),
        *section("Before you touch anything"),
        *(line for caution in CAUTIONS for line in bullet(f"**{caution.about}.** {caution.text}")),
        *section("The way back"),
        *_way_back(record, events, back),
        *_staying(record, back),
        *_configurations(record),
        *section("Each step of the run"),
        *_steps(record, events, back),
        *section("Values before the run"),
        *_before(record),
    ]
    return "\n".join(lines) + "\n"


def _title(record: RunRecord, events: Sequence[Event]) -> list[str]:
    undoes = f" It takes back run {prose(record.undoes)}." if record.undoes else ""
    return [
        f"# Rollback notes, run {prose(record.id)}",
        "",
        *paragraph(
            f"{prose(record.title)}. {prose(record.facility)}. Begun {record.made_at}.{undoes}"
        ),
        *paragraph(f"Digest of the sequence: {code(record.digest)}."),
        *paragraph(
            f"{_last_event(record, events)} Older copies of these notes no longer hold. If the "
            "notes end with a list 'Done since', that list comes first on the way back."
        ),
        "",
        *paragraph(
            "With these notes, a browser and each unit's own page, everything that the run wrote "
            "can be put back by hand. Where the tool still works, 'cutsheet undo "
            f"{prose(record.id)}' does the same."
        ),
        *_secrets(record),
    ]


def _secrets(record: RunRecord) -> list[str]:
    """Where the secrets of a run are that changes one; they stand in no notes."""
    if record.rotates is None:
        return []
    name = prose(record.rotates)
    return [
        "",
        *paragraph(
            f"The secrets stand in the keyring of the computer that made the run, under the "
            f"service cutsheet: 'old' as {name}, and until the run is over 'new' as {name} (new). "
            "Sign in at each unit with the one that it takes now, and give it the other; a unit "
            "may lock after a few wrong tries."
        ),
    ]


def _last_event(record: RunRecord, events: Sequence[Event]) -> str:
    steps = {step.id: step for step in record.sequence.steps}
    names = [name for event in events if (name := getattr(event, "step", None)) in steps]
    if not names:
        return "True before the first step is begun."
    step = steps[names[-1]]
    state = step_states(record, events)[step.id]
    doing = {
        StepState.PROVED: "was done and read back",
        StepState.FAILED: "failed",
    }.get(state, "was begun")
    return f"True since step {prose(step.id)} ({_what(step)}) {doing}."


def _what(step: Step) -> str:
    return prose(f"{step.subject}: {step_words(step)}")


def _silent(silent: Sequence[Silent]) -> list[str]:
    if not silent:
        return paragraph("Nothing on this run's units is silent because of the run.")
    return [line for quiet in silent for line in entry(quiet.subject, _silence(quiet))]


def _silence(quiet: Silent) -> str:
    if quiet.destination is not None:
        return "heard a source before the run and hears none now."
    said = "switched off by the run" if quiet.sure else "perhaps off: nobody knows, look first"
    meant = ", and meant to stay off" if quiet.for_good else ""
    heard = ", ".join(code(name) for name in quiet.heard_by)
    lost = f" Heard by {heard} until then, as far as this run's units tell." if heard else ""
    return f"{said}{meant}.{lost}"


def _way_back(record: RunRecord, events: Sequence[Event], back: WayBack) -> list[str]:
    if not back.steps:
        if any(getattr(event, "step", None) for event in events):
            return paragraph("Nothing that the run wrote is left to put back.")
        return paragraph("Nothing has been written: there is nothing to put back.")
    return [
        *paragraph(
            "One step at a time, in this order and no other. After each step reload the page and "
            "see the new value before the next one; that can take some seconds. Where the page "
            "shows neither the value from nor the value to, another hand has been there: stop "
            "and ask."
        ),
        *step_lines(record, back.steps),
        "",
        *paragraph(
            "Then listen in every room concerned, and run 'cutsheet audit' when the tool works "
            "again. If the run is not finished, don't resume it after going back by hand "
            "without a survey."
        ),
    ]


def _configurations(record: RunRecord) -> list[str]:
    """The whole configurations that are kept, and how one is put back without this tool."""
    if not record.configurations:
        return []
    lines = [
        *section("Whole configurations"),
        *paragraph(
            "What these units give as their whole configuration was stored before the first write. "
            "It holds more than the run wrote, and the way back does not need it: it is for a unit "
            "that was reset or spoilt. Use it only with all of the unit's sources off. "
            f"'cutsheet put-back {prose(record.id)} UNIT --check' asks the unit what it would do."
        ),
    ]
    for device, why in record.configurations.items():
        if why is None:
            lines += entry(device, f"{code(f'configuration-{device}.json')}, beside these notes.")
        else:
            lines += entry(device, f"none is kept: {prose(why)}.")
    return [
        *lines,
        *paragraph(
            "By hand (AMWA IS-14): for each of its 'parts', the control of type "
            "urn:x-nmos:control:configuration/v1.0 of the NMOS device named there leads to the "
            "place. Send, to 'rolePaths/root/bulkProperties' below it, the part as the dataSet of "
            '{"arguments": {"dataSet": ..., "recurse": true, "restoreMode": 0}}: by PATCH it only '
            "tries, by PUT it does. Read the status of each object: one that fails leaves the "
            "others done."
        ),
    ]


def _staying(record: RunRecord, back: WayBack) -> list[str]:
    lines: list[str] = []
    if record.mended:
        lines += section("What stays mended")
        for fault, holders in record.mended.items():
            names = " and ".join(code(holder) for holder in holders)
            lines += bullet(f"{prose(fault)} was held by {names} before the run. Don't restore it.")
        for step in back.kept:
            lines += entry(step.subject, f"leave as it is: {_values(step)}.")
    if back.found_so:
        lines += section("Not this run's doing")
        for step in back.found_so:
            lines += entry(
                step.subject, f"was so already when the run came to it: {_values(step)}."
            )
    return lines


def _values(step: Step) -> str:
    return ", ".join(
        f"{name} {code(now)} (before the run {code(then)})" for name, now, then in fields(step)
    )


def _steps(record: RunRecord, events: Sequence[Event], back: WayBack) -> list[str]:
    states = step_states(record, events)
    doubt = in_doubt(record, events)
    failed = failures(events)
    done = proved_steps(events)
    already = {step.id for step in back.found_so}
    lines: list[str] = []
    for step in record.sequence.steps:
        mark = "[x]" if step.id in done else "[ ]"
        said = _standing(step, states[step.id], doubt, failed, already)
        lines += bullet(f"{mark} {prose(step.id)}, {code(step.subject)}: {said}")
    return lines


def _standing(
    step: Step,
    state: StepState,
    doubt: frozenset[str],
    failed: Mapping[str, Failed],
    already: set[str],
) -> str:
    if step.id in doubt:
        if step.kind is StepKind.SAVE:
            return "in doubt: perhaps saved, perhaps not. Save again on the way back."
        return f"in doubt. Look: it is either {' or '.join(_both(step))}."
    if state is StepState.PROVED:
        return f"{'was so already' if step.id in already else 'done'}: {_written(step)}."
    if state is StepState.FAILED:
        why = failed[step.id]
        said = f" ({prose(why.said)})" if why.said else ""
        return f"not done, nothing to put back: {FAILURES[why.why]}{said}."
    return "not done, nothing to put back."


def _both(step: Step) -> tuple[str, str]:
    pairs = fields(step)
    return (
        ", ".join(f"{name} {code(then)}" for name, _, then in pairs),
        ", ".join(f"{name} {code(now)}" for name, now, _ in pairs),
    )


def _written(step: Step) -> str:
    match step.kind:
        case StepKind.SAVE | StepKind.CONFIRM:
            return prose(step_words(step))
        case _:
            return ", ".join(_from_to(pair) for pair in fields(step))


def _from_to(pair: Field) -> str:
    name, now, then = pair
    return f"{name} {code(then)} became {code(now)}"


def _before(record: RunRecord) -> list[str]:
    """What each thing that the run may write was before, by unit, whether it was written or not."""
    lines: list[str] = []
    first: dict[tuple[str, str], Step] = {}
    for step in record.sequence.steps:
        if step.kind not in {StepKind.SAVE, StepKind.CONFIRM}:
            first.setdefault((step.subject, field_name(step)), step)
    for device in dict.fromkeys(step.device for step in first.values()):
        lines += section(_unit(record, device), 3)[0 if lines else 1 :]
        for step in first.values():
            if step.device == device:
                values = ", ".join(f"{name} {code(then)}" for name, _, then in all_fields(step))
                lines += entry(step.subject, f"{values}.")
    return lines


def _unit(record: RunRecord, device: str) -> str:
    found = record.before.get(device)
    at = f", was at {found.at}" if found else ""
    who = f", {found.state.identity}" if found else ""
    return prose(f"{device}{at}{who}")
