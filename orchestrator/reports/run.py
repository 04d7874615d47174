"""How a run stands: what is silent now, what failed, what is in doubt, and what to do next.

The JSON documents::

    cutsheet/run/1
        id, title, facility, made_at, digest, state, undoes, alive, paused_because
        silent[]     device, source? or destination?, sure, for_good, heard_by[]
        failed[]     id, device, source?, destination?, step, why, said
        in_doubt[]   id, device, source?, destination?, step, as_found, wanted
        steps[]      id, state
        proved, all  how many steps are proved, of how many
        next[]       what to do, in words
        notes        where the rollback notes are, or null

    cutsheet/runs/1
        runs[]       id, title, made_at, state, undoes, taken_back_by
"""

from collections.abc import Sequence

from orchestrator.facility.step import Step
from orchestrator.reports.layout import heading, item, table, wrap
from orchestrator.reports.values import Json, subject_json, value_json
from orchestrator.reports.words import RUN_STATES, failure_words, short, step_words
from orchestrator.running.events import Event, Paused
from orchestrator.running.record import RunRecord
from orchestrator.running.view import (
    RunLine,
    RunState,
    Silent,
    StepState,
    failures,
    in_doubt,
    run_state,
    silent_now,
    step_states,
)


def text(
    record: RunRecord,
    events: Sequence[Event],
    *,
    state: RunState | None = None,
    alive: bool = False,
    notes: str | None = None,
) -> str:
    """How a run stands, for people: what is silent first.

    ``state`` is the run's state where the list of runs knows more than its own events (undone);
    ``alive`` says whether its process still holds the facility's lock; ``notes`` is where the
    rollback notes are.
    """
    stands = state or run_state(record, events)
    lines = [
        *wrap(f"Run {record.id}, {record.title}: {_stands(stands, alive=alive)}."),
        *heading("Silent now"),
        *_silent(silent_now(record, events), undone=stands is RunState.UNDONE),
        *_failed(record, events),
        *_doubtful(record, events),
        *heading("What to do"),
    ]
    for what in next_steps(record, events, state=stands, alive=alive, notes=notes):
        lines += wrap(what)
    proved, everything = _proved(record, events)
    lines += ["", *wrap(f"{proved} of {everything} steps are proved by reading back.")]
    lines += wrap(f"Digest of the sequence: {record.digest}.")
    return "\n".join(lines) + "\n"


def _stands(state: RunState, *, alive: bool) -> str:
    if state is RunState.RUNNING:
        return "running" if alive else "stopped without a word"
    return RUN_STATES[state]


def _silent(silent: Sequence[Silent], *, undone: bool) -> list[str]:
    if undone:
        return ["The run was taken back."]
    if not silent:
        return ["Nothing on this run's devices is silent because of it."]
    return [line for quiet in silent for line in item("-", _quiet(quiet))]


def _quiet(quiet: Silent) -> str:
    if quiet.destination is not None:
        return f"{quiet.subject} heard a source before the run and hears none now"
    said = "is switched off" if quiet.sure else "may be off: nobody knows"
    meant = ", as wanted" if quiet.for_good else ""
    heard = f"; heard before by {', '.join(quiet.heard_by)}" if quiet.heard_by else ""
    return f"{quiet.subject} {said}{meant}{heard}"


def _failed(record: RunRecord, events: Sequence[Event]) -> list[str]:
    failed = failures(events)
    steps = [step for step in record.sequence.steps if step.id in failed]
    lines = heading("Failed") if steps else []
    for step in steps:
        lines += wrap(f"{step.id}  {step.subject}: {step_words(step)}", 2, 4)
        lines += wrap(failure_words(failed[step.id]), 6)
    return lines


def _doubtful(record: RunRecord, events: Sequence[Event]) -> list[str]:
    doubt = in_doubt(record, events)
    steps = [step for step in record.sequence.steps if step.id in doubt]
    lines = heading("In doubt") if steps else []
    for step in steps:
        either = f"it is either {short(step.as_found)} or {short(step.wanted)}"
        if step.as_found is None and step.wanted is None:
            either = "it is either done or not"
        lines += wrap(f"{step.id}  {step.subject}: {step_words(step)}: {either}", 2, 4)
    return lines


def _proved(record: RunRecord, events: Sequence[Event]) -> tuple[int, int]:
    states = step_states(record, events)
    steps = record.sequence.steps
    return sum(states[step.id] is StepState.PROVED for step in steps), len(steps)


def paused_because(events: Sequence[Event]) -> str | None:
    """Why the run last paused; None if the pause is not the last that happened to it."""
    last = events[-1] if events else None
    return last.why if isinstance(last, Paused) else None


def next_steps(  # noqa: PLR0911 - one return a state is the table itself
    record: RunRecord,
    events: Sequence[Event],
    *,
    state: RunState,
    alive: bool = False,
    notes: str | None = None,
) -> tuple[str, ...]:
    """What to do next, in words, one sentence each."""
    paper = (
        f"Without this tool: the rollback notes, {notes}."
        if notes
        else f"Without this tool: 'cutsheet rollback-notes {record.id}'."
    )
    undo = f"To take it back: 'cutsheet undo {record.id}'."
    match state:
        case RunState.RUNNING if alive:
            return ("The run is going on: wait, or stop it there.", paper)
        case RunState.RUNNING | RunState.PAUSED:
            why = paused_because(events)
            if record.undoes is not None:
                undo = (
                    "Should it not get on, since a device went back by itself meanwhile: 'cutsheet "
                    f"undo {record.id}', then 'cutsheet undo {record.undoes}' plans the way anew."
                )
            return (
                *((f"It paused because: {why}.",) if why else ()),
                f"To go on: 'cutsheet resume {record.id}'; it looks at every device first.",
                undo,
                paper,
            )
        case RunState.UNDOING:
            return ("It is being taken back: finish that run with 'cutsheet resume'.", paper)
        case RunState.UNDONE:
            return ("Nothing: it was taken back.",)
        case RunState.PARTLY_UNDONE:
            rest = f"To take back the rest: 'cutsheet undo {record.id}'"
            return (
                "It was taken back in part, and does not go on any more.",
                f"{rest}; where a device can't be reached, the notes say what is left there.",
                "What is still wanted is planned anew: 'cutsheet dry-run'.",
                paper,
            )
        case RunState.FINISHED if record.undoes is not None:
            return ("Nothing: what it took back is as before.",)
        case RunState.FINISHED:
            adopt = f"To write it into the plan: 'cutsheet adopt {record.id}'."
            return (adopt, undo, paper)


def as_json(
    record: RunRecord,
    events: Sequence[Event],
    *,
    state: RunState | None = None,
    alive: bool = False,
    notes: str | None = None,
) -> Json:
    """How a run stands, as the document that the module describes."""
    stands = state or run_state(record, events)
    doubt = in_doubt(record, events)
    failed = failures(events)
    proved, everything = _proved(record, events)
    steps = record.sequence.steps
    return {
        "schema": "cutsheet/run/1",
        "id": record.id,
        "title": record.title,
        "facility": record.facility,
        "made_at": record.made_at,
        "digest": record.digest,
        "state": stands.value,
        "undoes": record.undoes,
        "alive": alive,
        "paused_because": paused_because(events),
        "silent": [_silent_json(quiet) for quiet in silent_now(record, events)],
        "failed": [
            {
                **_step_json(step),
                "why": failed[step.id].why.value,
                "said": failed[step.id].said,
            }
            for step in steps
            if step.id in failed
        ],
        "in_doubt": [
            {
                **_step_json(step),
                "as_found": value_json(step.as_found),
                "wanted": value_json(step.wanted),
            }
            for step in steps
            if step.id in doubt
        ],
        "steps": [
            {"id": name, "state": where.value}
            for name, where in step_states(record, events).items()
        ],
        "proved": proved,
        "all": everything,
        "next": list(next_steps(record, events, state=stands, alive=alive, notes=notes)),
        "notes": notes,
    }


def _step_json(step: Step) -> Json:
    return {
        "id": step.id,
        **subject_json(step.device, step.source, step.destination),
        "step": step.kind.value,
    }


def _silent_json(quiet: Silent) -> Json:
    return {
        **subject_json(quiet.device, quiet.source, quiet.destination),
        "sure": quiet.sure,
        "for_good": quiet.for_good,
        "heard_by": list(quiet.heard_by),
    }


def runs_text(lines: Sequence[RunLine]) -> str:
    """The list of runs for people, the latest first; runs that are not finished are named first."""
    open_runs = [line.id for line in lines if line.unfinished]
    head = [*wrap(f"Not finished: {', '.join(open_runs)}."), ""] if open_runs else []
    if not lines:
        return "No run has been made here.\n"
    rows = [
        (line.id, _minute(line.made_at), line.title, _line_state(line)) for line in reversed(lines)
    ]
    return "\n".join([*head, *table(("run", "made at", "title", "state"), rows, 0)]) + "\n"


def _minute(made_at: str) -> str:
    """An ISO 8601 time as the clock on the wall showed it, to the minute."""
    return made_at[:16].replace("T", " ")


def _line_state(line: RunLine) -> str:
    words = RUN_STATES[line.state]
    return f"{words} by {line.taken_back_by}" if line.taken_back_by else words


def runs_json(lines: Sequence[RunLine]) -> Json:
    """The list of runs, oldest first, as the document that the module describes."""
    return {
        "schema": "cutsheet/runs/1",
        "runs": [
            {
                "id": line.id,
                "title": line.title,
                "made_at": line.made_at,
                "state": line.state.value,
                "undoes": line.undoes,
                "taken_back_by": line.taken_back_by,
            }
            for line in lines
        ],
    }
