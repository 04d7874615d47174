"""Explain: each step with why it stands where it stands."""

import asyncio
from dataclasses import replace

import pytest

from orchestrator.actions.explain import explain
from orchestrator.actions.propose import Choice, propose
from orchestrator.errors import CallError
from orchestrator.planning.result import DryRun
from tests.actions.desks import desk_of
from tests.cli.stage import Stage


@pytest.fixture
def plan(stage: Stage) -> DryRun:
    """The dry-run of the programme numbers."""
    desk = desk_of(stage)
    return propose(desk, asyncio.run(desk.survey()), Choice())


def test_every_step_is_explained(plan: DryRun) -> None:
    """As many numbered lines as steps, each with at least one reason, in 80 columns."""
    lines = explain(plan).splitlines()
    numbered = [place for place, line in enumerate(lines) if line[:5].strip().rstrip(".").isdigit()]
    assert len(numbered) == len(plan.sequence.steps)
    assert all(lines[place + 1].startswith("     ") for place in numbered)
    assert max(map(len, lines)) <= 80


def test_a_subject(plan: DryRun) -> None:
    """A device has all of its steps, a source its own, a number one."""
    device = explain(plan, "talks-engine")
    source = explain(plan, "talks-engine/program-1")
    assert set(source.splitlines()) < set(device.splitlines())
    first = plan.sequence.steps[0]
    one = explain(plan, str(first.order))
    assert first.subject in one
    assert "nothing has to come before it" in one
    assert one == explain(plan, first.id) == explain(plan, f"s{first.order}")


def test_what_goes_in_one_request(plan: DryRun) -> None:
    """Named by number and kind, at each of them."""
    first, second, *others = plan.sequence.steps
    mate = replace(second, device=first.device, batch=1)
    steps = (replace(first, batch=1), mate, *others)
    together = replace(plan, sequence=replace(plan.sequence, steps=steps))
    shown = " ".join(explain(together, first.id).split())
    assert f"goes in one request with step 2 ({second.kind}), due at the same time" in shown


def test_nothing_of_that_name(plan: DryRun) -> None:
    """It is a wrong call."""
    with pytest.raises(CallError, match="no step of this dry-run concerns master-control"):
        explain(plan, "master-control")
