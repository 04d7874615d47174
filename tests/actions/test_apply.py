"""Apply and resume without a terminal."""

import asyncio
import json
import socket
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
        self.copy: Path | None = None
        self.copied: list[str] = []

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
            if self.copy is not None:
                self.copied = sorted(path.name for path in self.copy.iterdir())


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
    asked = ["who-is-on-air", "monitors-down", "go:1"]
    assert person.asked == asked, "sources are about to come back, so it is asked anew"
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


def test_a_copy_is_kept_before_the_first_write(stage: Stage, tmp_path: Path) -> None:
    """States and notes are there when the first write comes; the same disk is told."""
    desk, copy = desk_of(stage), tmp_path / "stick"
    order, (attendance, _, _), first = ordered(desk), attended(), First(stage.folder)
    first.copy = copy
    stage.world.observe(first)
    said: list[str] = []
    ended = asyncio.run(apply(desk, order, replace(attendance, keep_copy=copy, tell=said.append)))
    names = [f"as-found-before-{ended.run}.json", f"rollback-notes-{ended.run}.md"]
    assert first.copied == names
    assert [text for text in said if "same disk" in text]
    own, other = (ended.notes, copy / names[1])
    assert own is not None
    assert own.read_text(encoding="utf-8") == other.read_text(encoding="utf-8")


def test_a_copy_that_can_not_be_kept_stops_before_a_run_is_made(
    stage: Stage, tmp_path: Path
) -> None:
    """No run is left that would own the devices, and nothing was written."""
    desk = desk_of(stage)
    (tmp_path / "stick").write_text("", encoding="utf-8")
    order, (attendance, _, _) = ordered(desk), attended()
    with pytest.raises(CallError, match="stick"):
        asyncio.run(apply(desk, order, replace(attendance, keep_copy=tmp_path / "stick" / "in")))
    assert stage.writes() == 0
    with SqliteLedger(stage.folder) as ledger:
        assert ledger.runs() == ()


def test_a_lock_that_a_dead_process_left_is_told_before_it_is_taken(stage: Stage) -> None:
    """Who left it comes first on the screen; then the questions."""
    desk = desk_of(stage)
    order, (attendance, person, _) = ordered(desk), attended("who-is-on-air")
    path = stage.folder / "runs" / "lock"
    path.parent.mkdir(exist_ok=True)
    left = {"pid": 7, "host": socket.gethostname(), "user": "u", "command": "apply: X"}
    path.write_text(json.dumps({**left, "since": "s", "run": "r-7"}), encoding="utf-8")
    said: list[str] = []

    def tell(text: str) -> None:
        assert person.asked == []
        said.append(text)

    asyncio.run(apply(desk, order, replace(attendance, tell=tell)))
    assert len(said) == 1
    assert "'apply: X', run r-7 by u" in said[0]
    assert "process 7" in said[0]


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
