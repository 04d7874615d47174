"""Adopt: which runs may become the plan."""

import asyncio

import pytest
import yaml

from orchestrator.actions.adopt import adopt
from orchestrator.actions.apply import apply, order_of
from orchestrator.actions.propose import Choice, propose
from orchestrator.errors import CallError, LedgerError
from orchestrator.ledger.lock import hold
from tests.actions.desks import attended, desk_of
from tests.cli.stage import ANSWERS, Stage


def applied(stage: Stage) -> str:
    """A run, to its end or pause; its id."""
    desk = desk_of(stage)
    found = asyncio.run(desk.survey())
    order = order_of("x", propose(desk, found, Choice()), found)
    return str(asyncio.run(apply(desk, order, attended()[0])).run)


def test_a_finished_run(stage: Stage) -> None:
    """The plan has the new numbers, and what else stood in it stays."""
    run = applied(stage)
    with hold(stage.folder, "another"), pytest.raises(LedgerError, match="another"):
        adopt(stage.folder, run)
    before = yaml.safe_load((stage.folder / "plan.yaml").read_text(encoding="utf-8"))
    assert adopt(stage.folder, run)
    after = yaml.safe_load((stage.folder / "plan.yaml").read_text(encoding="utf-8"))
    assert after["devices"]["talks-engine"]["sources"]["program-1"]["number"] == 112
    before["devices"]["talks-engine"]["sources"]["program-1"]["number"] = 112
    assert after["devices"]["talks-engine"] == before["devices"]["talks-engine"]
    assert after["networks"] == before["networks"]


def test_a_run_taken_back_is_not_adopted(stage: Stage) -> None:
    """The plan stays as it is, byte by byte."""
    run = applied(stage)
    assert stage.run("undo", run, "--yes", *ANSWERS).status == 0
    before = (stage.folder / "plan.yaml").read_bytes()
    with pytest.raises(CallError, match="undone"):
        adopt(stage.folder, run)
    assert (stage.folder / "plan.yaml").read_bytes() == before


def test_a_paused_run_is_not_adopted(stage: Stage) -> None:
    """Nor one that is not there."""
    stage.world.another_hand("talks-engine").set_setting("ptp_priority", 99)
    desk = desk_of(stage)
    found = asyncio.run(desk.survey())
    order = order_of("x", propose(desk, found, Choice()), found)
    stage.world.another_hand("talks-engine").set_source("program-1", number=119)
    run = asyncio.run(apply(desk, order, attended()[0])).run
    with pytest.raises(CallError, match="paused"):
        adopt(stage.folder, str(run))
    with pytest.raises(LedgerError):
        adopt(stage.folder, "r-99")
