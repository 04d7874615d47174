"""The commands about runs: runs, rollback-notes, adopt."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal, overload

import typer

from orchestrator.actions.adopt import adopt
from orchestrator.actions.kept.notes import notes_path
from orchestrator.cli.options import FacilityOption, JsonOption
from orchestrator.cli.show import show, show_json
from orchestrator.documents.folder import find_folder
from orchestrator.errors import CallError
from orchestrator.ledger.lock import holder
from orchestrator.ledger.store import SqliteLedger
from orchestrator.reports import rollback_notes
from orchestrator.reports import run as run_report
from orchestrator.reports.answers import answer_lines, answers_json
from orchestrator.reports.layout import wrap
from orchestrator.reports.terms import terms_json, turn_back_words
from orchestrator.running.events import Event
from orchestrator.running.record import RunRecord
from orchestrator.running.view import RunState, terms_now

RunArgument = Annotated[str, typer.Argument(metavar="RUN", help="As 'cutsheet runs' lists it.")]


def runs(
    run: Annotated[
        str | None, typer.Argument(metavar="[RUN]", help="Show this one. Default: list all.")
    ] = None,
    facility: FacilityOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the runs of the facility, or show how one stands: what is silent comes first.

    Exit status: 0.
    """
    folder = find_folder(facility or Path.cwd())
    if run is not None:
        if as_json:
            show_json(run_document(folder, run))
        else:
            show(run_document(folder, run, text=True))
        return
    with SqliteLedger(folder, looks=True) as ledger:
        lines = ledger.runs()
    if as_json:
        show_json(run_report.runs_json(lines))
    else:
        show(run_report.runs_text(lines))


@overload
def run_document(folder: Path, run: str) -> dict[str, Any]: ...
@overload
def run_document(folder: Path, run: str, *, text: Literal[True]) -> str: ...
def run_document(folder: Path, run: str, *, text: bool = False) -> dict[str, Any] | str:
    """How a run stands, as text or as a JSON document."""
    with SqliteLedger(folder, create=False, looks=True) as ledger:
        record, timeline = ledger.record(run), ledger.timeline(run)
        state = next(line.state for line in ledger.runs() if line.id == run)
    events = [event for _, event in timeline]
    path = notes_path(folder, run)
    notes = str(path) if path.exists() else None
    alive = holder(folder) is not None
    if not text:
        document = run_report.as_json(record, events, state=state, alive=alive, notes=notes)
        document["answers"] = answers_json(timeline)
        document["terms"] = terms_json(terms_now(record, events), record.lengths)
        return document
    told = run_report.text(record, events, state=state, alive=alive, notes=notes)
    lines = _turn_back(record, events, state) + answer_lines(timeline)
    return told + "\n".join(lines)


def _turn_back(record: RunRecord, events: Sequence[Event], state: RunState) -> list[str]:
    """The last time to turn back, of a run under way that has a window."""
    if state not in {RunState.RUNNING, RunState.PAUSED}:
        return []
    named = {getattr(event, "step", None) for event in events}
    begun = [step.phase + 1 for step in record.sequence.steps if step.id in named]
    last = turn_back_words(terms_now(record, events), record.lengths, max(begun, default=0))
    if last is None:
        return []
    return wrap(f"The last time to turn back is {last}; after it, going on is the way out.")


def last_unfinished(folder: Path) -> str:
    """The run that is unfinished.

    Raises:
        CallError: there is none, or more than one.
    """
    with SqliteLedger(folder, looks=True) as ledger:
        names = ledger.unfinished()
    if not names:
        raise CallError("no run is unfinished", "'cutsheet runs' lists them all")
    if len(names) > 1:
        raise CallError(f"more than one run is unfinished: {', '.join(names)}", "name one of them")
    return names[0]


def notes(
    run: RunArgument,
    facility: FacilityOption = None,
) -> None:
    """Print a run's rollback notes: how to take it back by hand, without this tool.

    Exit status: 0.
    """
    folder = find_folder(facility or Path.cwd())
    with SqliteLedger(folder, create=False, looks=True) as ledger:
        show(rollback_notes.text(ledger.record(run), ledger.events(run)))


def adopt_command(
    run: RunArgument,
    facility: FacilityOption = None,
) -> None:
    """Write what a finished run made true into plan.yaml; its comments stay.

    Exit status: 0 written, or nothing to write.
    """
    show(adopt(find_folder(facility or Path.cwd()), run))
