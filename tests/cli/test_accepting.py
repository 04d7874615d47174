"""Who accepts what by name."""

import getpass

from orchestrator.actions.propose import Choice
from orchestrator.cli.accepting import accepts_of, ask_about_hazards
from orchestrator.planning.result import DryRun
from tests.actions.desks import desk_of
from tests.cli.stage import PROGRAMMES, Stage

RACK = "listener:rack-codec/output-2"


def test_who_and_why(small: Stage) -> None:
    """A playbook's acceptance by its own word or its title; the command line's by the user."""
    user = getpass.getuser()
    choice = Choice(accepted={"monitors-down": "seen"})
    found = accepts_of(desk_of(small), choice)
    assert found["monitors-down"] == f"{user}: seen"
    assert found[RACK].startswith("playbook Programme numbers, the new order: the web stream")
    path = small.folder / "playbooks" / PROGRAMMES
    text = path.read_text(encoding="utf-8")
    path.write_text(text.rstrip() + "\n    by: M. Okafor\n", encoding="utf-8")
    assert accepts_of(desk_of(small), choice)[RACK].startswith("M. Okafor: the web stream")


def test_nobody_is_asked_where_nobody_is(small: Stage) -> None:
    """The plan is made once, and stands as it is."""
    made: list[Choice] = []

    def plan_with(choice: Choice) -> DryRun:
        made.append(choice)
        raise StopIteration

    try:
        ask_about_hazards(plan_with, Choice(), asks=True)
    except StopIteration:
        assert made == [Choice()]
    assert small.writes() == 0
