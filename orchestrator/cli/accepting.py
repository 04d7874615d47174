"""Who accepts what by name: on the command line, in a playbook, or at the keyboard."""

import asyncio
import getpass
import sys
from collections.abc import Callable
from dataclasses import replace

from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice
from orchestrator.cli.person import Keyboard
from orchestrator.facility.hazard import Grade
from orchestrator.planning.result import DryRun


def accepts_of(desk: Desk, choice: Choice) -> dict[str, str]:
    """By name: who accepted it, where, and why. The command line comes before a playbook."""
    books = {
        a.hazard: f"{a.by or f'playbook {book.title}'}: {a.reason}"
        for book in desk.documents.playbooks
        for a in book.accepts
    }
    user = getpass.getuser()
    return {**books, **{name: f"{user}: {reason}" for name, reason in choice.accepted.items()}}


def ask_about_hazards(
    plan_with: Callable[[Choice], DryRun], choice: Choice, *, asks: bool
) -> tuple[DryRun, Choice]:
    """Plan; where nothing but hazards that need a name stands in the way, ask a person about each.

    The change is planned anew with what was accepted, since that may alter it. Nobody is asked
    where nobody is at the keyboard, or unless it ``asks``.
    """
    plan = plan_with(choice)
    while asks and sys.stdin.isatty():
        open_ones = [hazard for hazard in plan.hazards if hazard.blocks]
        if not open_ones or any(hazard.grade is Grade.STOPS for hazard in open_ones):
            break
        for hazard in open_ones:
            text = (f"Needs a name: {hazard.what}.", hazard.fix, "Do you accept that?")
            go, by = asyncio.run(Keyboard({}, sys.stdout).ask(hazard.name, text))
            if not go:
                return plan, choice
            reason = f"accepted at the keyboard by {by}"
            choice = replace(choice, accepted={**choice.accepted, hazard.name: reason})
        plan = plan_with(choice)
    return plan, choice
