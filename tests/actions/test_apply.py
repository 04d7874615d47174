"""Apply and resume without a terminal."""

import asyncio
from dataclasses import replace
from pathlib import Path

import pytest

from mocks.journal import Asked, Change
from orchestrator.actions.apply import Order, apply, order_of, resume
from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice, propose
from orchestrator.errors import CallError, LedgerError
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.ledger.lock import hold
from orchestrator.ledger.store import SqliteLedger, ledger_path
from orchestrator.running.events import Finished, Paused
from tests.actions.desks import attended, desk_of
from tests.cli.stage import Stage


def ordered(desk: Desk, title: str = "A test") -> Order:
    """What the playbooks ask, as an order."""
    found = asyncio.run(desk.survey())
    return order_of(title, propose(desk, found, Choice()), found)


class First:
    """Looks, at the first write that reaches a device, what is on disk by then."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.notes: list[str] | None = None
        self.before: set[str] = set()

    def changed(self, change: Change) -> None:
        """Nothing to do."""

    def moved(self) -> None:
        """Nothing to do."""

    def asked(self, asked: Asked) -> None:
        """Look, once."""
        if asked.writes and self.notes is None:
            self.notes = [path.name for path in self.folder.glob("runs/*/rollback-notes.md")]
            with SqliteLedger(self.folder, create=False) as ledger:
                self.before = set(ledger.record(ledger.runs()[0].id).before)


def test_all_is_stored_before_the_first_write(stage: Stage) -> None:
    """The states of all devices to be touched, and the notes."""
    desk = desk_of(stage)
    order, first = ordered(desk), First(stage.folder)
    stage.world.observe(first)
    attendance, person, reporter = attended()
    ended = asyncio.run(apply(desk, order, attendance))
    assert ended.finished
    assert first.notes == ["rollback-notes.md"]
    assert first.before == {step.device for step in order.sequence.steps}
    assert person.asked[:3] == ["who-is-on-air", "monitors-down", "alert-chain"]
    assert isinstance(reporter.events[-1], Finished)
    assert stage.referee.verdict().broken == ()


@pytest.mark.parametrize("refused", ["who-is-on-air", "monitors-down", "alert-chain"])
def test_a_no_before_the_first_write(stage: Stage, refused: str) -> None:
    """No run is made, and who said no is told."""
    desk = desk_of(stage)
    attendance, _, _ = attended(refused)
    ended = asyncio.run(apply(desk, ordered(desk), attendance))
    assert (ended.run, ended.why) == (None, f"{refused}: no (M. Okafor)")
    assert not ledger_path(stage.folder).exists()
    assert stage.writes() == 0


def test_a_no_go_pauses_and_resume_asks_again(stage: Stage) -> None:
    """Nothing of the second phase was done by then."""
    desk = desk_of(stage)
    found = asyncio.run(desk.survey())
    phases = (("studio-south", "news-booth"), ("talks",))
    plan = propose(desk, found, Choice(phases=phases))
    assert len(plan.sequence.phases) == 2, plan.hazards
    attendance, _, _ = attended("go:1")
    ended = asyncio.run(apply(desk, order_of("phases", plan, found), attendance))
    assert not ended.finished
    assert "no-go before phase 2" in ended.why
    assert stage.now("talks-engine").sources["program-1"].number == 111
    agreeing, person, _ = attended()
    assert asyncio.run(resume(desk, str(ended.run), agreeing)).finished
    assert person.asked == ["go:1"], "what was asked before the first write is not asked again"
    with pytest.raises(CallError, match="nothing to go on with"):
        asyncio.run(resume(desk, str(ended.run), agreeing))


def test_an_order_is_made_of_what_is_proved_only(stage: Stage) -> None:
    """A hazard that stops, or a missing proof, forbids it."""
    desk = desk_of(stage)
    found = asyncio.run(desk.survey())
    plan = propose(desk, found, Choice())
    stop = Hazard(name="x", rule="x", grade=Grade.STOPS, what="x")
    for wrong in (replace(plan, proved=False), replace(plan, hazards=(stop,))):
        with pytest.raises(CallError):
            order_of("x", wrong, found)


def test_one_at_a_time(stage: Stage) -> None:
    """While somebody holds the facility nothing is made."""
    desk = desk_of(stage)
    order, (attendance, _, _) = ordered(desk), attended()
    with hold(stage.folder, "another"), pytest.raises(LedgerError, match="another"):
        asyncio.run(apply(desk, order, attendance))
    assert stage.writes() == 0


def test_an_unknown_run(stage: Stage) -> None:
    """There is nothing to resume."""
    with pytest.raises(LedgerError):
        asyncio.run(resume(desk_of(stage), "r-99", attended()[0]))


def test_a_pause_is_told(stage: Stage) -> None:
    """Another hand's value is left; why it paused is in the end and in the last event."""
    desk = desk_of(stage)
    order, (attendance, _, reporter) = ordered(desk), attended()
    stage.world.another_hand("talks-engine").set_source("program-1", number=119)
    ended = asyncio.run(apply(desk, order, attendance))
    last = reporter.events[-1]
    assert isinstance(last, Paused)
    assert ended.why == last.why
    assert "talks-engine/program-1" in ended.why
