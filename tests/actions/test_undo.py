"""Undo as an action: what it plans, and what it takes from the run."""

import asyncio
from dataclasses import replace

import pytest

from orchestrator.actions.apply import apply, order_of, record_of
from orchestrator.actions.propose import Choice, propose
from orchestrator.actions.undo import order_back, undo
from orchestrator.errors import LedgerError
from orchestrator.ledger.store import SqliteLedger
from orchestrator.running.events import Intended, Paused, Resumed
from orchestrator.running.terms import Terms
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


def test_what_may_land_is_waited_out(stage: Stage) -> None:
    """After a death in the middle of a write the devices are looked at only when it has landed."""
    desk = desk_of(stage)
    before = asyncio.run(desk.survey())
    order = order_of("x", propose(desk, before, Choice()), before)
    done = asyncio.run(apply(desk, order, attended()[0]))
    with SqliteLedger(stage.folder) as ledger:
        last = order.sequence.steps[-1]
        ledger.append(str(done.run), [Resumed(), Intended(last.id)], desk.clock.now())
    slept: list[float] = []

    class Watched:
        now = desk.clock.now

        async def sleep(self, seconds: float) -> None:
            slept.append(seconds)
            assert not any(one.device == last.device for one in stage.world.log[asked:])

    asked = len(stage.world.log)
    asyncio.run(undo(replace(desk, clock=Watched()), str(done.run)))
    assert slept[:1] == [desk.patience[last.device].late_s]


def test_an_unknown_run(stage: Stage) -> None:
    """There is nothing to take back."""
    with pytest.raises(LedgerError):
        asyncio.run(undo(desk_of(stage), "r-99"))


def test_a_run_of_which_nothing_is_left_counts_as_taken_back(stage: Stage) -> None:
    """Its devices went back by themselves; nobody is asked anything, and nothing is written."""
    desk = desk_of(stage)
    before = asyncio.run(desk.survey())
    order = order_of("x", propose(desk, before, Choice()), before)
    with SqliteLedger(stage.folder) as ledger:
        record = record_of(desk, order, ledger)
        ledger.begin(record)
        ledger.append(record.id, [Paused("a power cut")], desk.clock.now())
    back = asyncio.run(undo(desk, record.id))
    plan = back.plan_with(Choice())
    assert (plan.sequence.steps, back.may_close) == ((), True)
    nobody, person, _ = attended("who-is-on-air")
    ended = asyncio.run(apply(desk, order_back(back, plan, Terms()), nobody))
    assert ended.finished
    assert person.asked == []
    assert [run["state"] for run in stage.runs()] == ["undone", "finished"]
    assert stage.writes() == 0
    assert not asyncio.run(undo(desk, record.id)).may_close
