"""Undo as an action: what it plans, and what it takes from the run."""

import asyncio

import pytest

from orchestrator.actions.apply import apply, order_of
from orchestrator.actions.propose import Choice, propose
from orchestrator.actions.undo import undo
from orchestrator.errors import LedgerError
from tests.actions.desks import attended, desk_of
from tests.cli.stage import Stage


def test_a_run_is_taken_back_as_a_run_of_its_own(stage: Stage) -> None:
    """It is proved like any change, names the run, and keeps what was accepted for it."""
    desk = desk_of(stage)
    before = asyncio.run(desk.survey())
    order = order_of("x", propose(desk, before, Choice()), before)
    done = asyncio.run(apply(desk, order, attended()[0]))
    back = asyncio.run(undo(desk, str(done.run)))
    plan = back.plan_with(Choice())
    assert plan.proved
    assert not plan.stopped
    assert back.stays == ()
    taken = order_of("back", plan, back.found, undoes=done.run)
    ended = asyncio.run(apply(desk, taken, attended()[0]))
    assert ended.finished
    after = asyncio.run(desk.survey())
    for name, entry in before.devices.items():
        assert getattr(after.devices[name], "state", None) == getattr(entry, "state", None)
    assert [run["state"] for run in stage.runs()] == ["undone", "finished"]


def test_an_unknown_run(stage: Stage) -> None:
    """There is nothing to take back."""
    with pytest.raises(LedgerError):
        asyncio.run(undo(desk_of(stage), "r-99"))
