"""A planned change on the screen: the dry-run, and the terms on which it is to be made."""

from typing import Any

from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import lengths_in
from orchestrator.planning.digest import digest
from orchestrator.planning.result import DryRun
from orchestrator.reports import dry_run
from orchestrator.reports.layout import heading
from orchestrator.reports.terms import terms_json, terms_lines
from orchestrator.running.terms import Terms


def dry_run_text(desk: Desk, plan: DryRun, terms: Terms) -> str:
    """The dry-run for people, its terms last."""
    text = dry_run.text(plan, digest(plan.sequence), desk.rooms)
    if not plan.sequence.steps:
        return text
    lines = [*heading("Terms"), *terms_lines(terms, lengths_in(terms, desk, plan.sequence))]
    return text + "\n".join(lines) + "\n"


def dry_run_document(desk: Desk, plan: DryRun, terms: Terms) -> dict[str, Any]:
    """The dry-run as a JSON document, its terms as one more member."""
    document = dry_run.as_json(plan, digest(plan.sequence))
    document["terms"] = terms_json(terms, lengths_in(terms, desk, plan.sequence))
    return document
