"""Adopt: what a finished run made true becomes the plan."""

from pathlib import Path

from orchestrator.documents.adopt import adopt as write_into_plan
from orchestrator.documents.folder import load
from orchestrator.errors import CallError
from orchestrator.ledger.lock import hold
from orchestrator.ledger.store import SqliteLedger
from orchestrator.running.outcome import edits
from orchestrator.running.view import RunState


def adopt(folder: Path, run: str) -> str:
    """Write what ``run`` made true into the plan of ``folder``; say what was written.

    Raises:
        CallError: the run is not finished, or was taken back.
        LedgerError: no such run, or a run is going on.
        DocumentError: the plan can't be read, or would not come out as meant.
    """
    with hold(folder, f"adopt {run}"), SqliteLedger(folder, create=False) as ledger:
        record, events = ledger.record(run), ledger.events(run)
        state = next(line.state for line in ledger.runs() if line.id == run)
        if state is not RunState.FINISHED:
            raise CallError(
                f"run {run} is {state}, so the plan stays as it is",
                "only a finished run that was not taken back can be adopted",
            )
        plan = load(folder).plan
        return write_into_plan(folder / "plan.yaml", edits(plan, record, events))
