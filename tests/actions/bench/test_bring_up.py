"""Bringing up units from a desk, with a computer's network as a test has it."""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from ipaddress import IPv4Interface, IPv4Network
from pathlib import Path

import pytest

from orchestrator.actions.bench.bring_up import BenchWish, bench
from orchestrator.actions.propose import Choice
from orchestrator.errors import CallError
from orchestrator.facility.computer import Attached, Computer
from orchestrator.reports.bench import UnitEnd, UnitState
from tests.actions.desks import attended, desk_of
from tests.cli.benches import FACTORY, FRESH, NODE, Hands, benched
from tests.cli.stage import Stage

ALONE = Computer(attached=(Attached("b0", IPv4Interface("192.0.2.9/24")),), routes=None)


def _bench(
    stage: Stage,
    *refused: str,
    look: Callable[[], Computer] = lambda: ALONE,
    elsewhere: frozenset[str] = frozenset({FACTORY}),
    agree: bool = True,
    only: tuple[str, ...] = (FRESH,),
    real: bool = False,
) -> tuple[dict[str, UnitEnd], str]:
    desk = desk_of(stage)
    if real:  # as if the bench were a cable, not this computer's loopback
        cable = replace(desk.plan.networks["bench"], subnet=IPv4Network("192.0.2.0/24"))
        networks = {**desk.plan.networks, "bench": cable}
        asked = {
            name: replace(wish, reach_at="192.0.2.50") if wish.reach_at else wish
            for name, wish in desk.asked.items()
        }
        documents = replace(desk.documents, plan=replace(desk.plan, networks=networks))
        desk = replace(desk, documents=documents, asked=asked)
    told: list[str] = []
    attendance, _, _ = attended(*refused)
    wish = BenchWish(
        choice=Choice(), look=look, agree=lambda _: agree, tell=told.extend, only=only,
        elsewhere=elsewhere, wait_s=0,
    )  # fmt: skip
    ends = asyncio.run(bench(desk, wish, attendance))
    return {end.device: end for end in ends}, " ".join(" ".join(told).split())


def test_a_unit_joins_and_the_others_wait(tmp_path: Path) -> None:
    """The first stops: the next is not begun."""
    with benched(tmp_path) as stage, Hands(stage, (FRESH,)).at_work():
        stage.world.pull_cable(NODE)
        ends, _ = _bench(stage, f"bench:{FRESH}", only=())
        assert [end.state for end in ends.values()] == [UnitState.STOPPED, UnitState.WAITING]
        assert stage.writes() == 0


def test_nobody_agrees(tmp_path: Path) -> None:
    """What is left over was shown, and nothing was written."""
    with benched(tmp_path) as stage:
        stage.world.pull_cable(NODE)
        stage.running.settle()
        ends, told = _bench(stage, agree=False)
        assert ends[FRESH].state is UnitState.STOPPED
        assert ends[FRESH].serial == "CV-20931"
        assert "Left over in it" in told
        assert stage.writes() == 0


def test_a_question_of_safety_that_is_answered_no(tmp_path: Path) -> None:
    """Nothing was written, and no run began."""
    with benched(tmp_path) as stage:
        stage.world.pull_cable(NODE)
        stage.running.settle()
        ends, _ = _bench(stage, "monitors-down")
        assert (ends[FRESH].state, ends[FRESH].run) == (UnitState.STOPPED, None)
        assert "monitors-down: no" in ends[FRESH].why
        assert stage.writes() == 0


def test_a_second_way_stops_it_before_the_unit_is_met(tmp_path: Path) -> None:
    """Nothing is sent, not even a question who it is."""
    two = replace(ALONE, attached=(*ALONE.attached, Attached("w0", IPv4Interface("192.0.2.8/24"))))
    with benched(tmp_path) as stage:
        ends, told = _bench(stage, look=lambda: two, elsewhere=frozenset(), real=True)
        assert ends[FRESH].state is UnitState.STOPPED
        assert "more than one way" in told
        assert stage.world.requests(FRESH) == 0


def test_routes_that_are_not_told_are_asked_about(tmp_path: Path) -> None:
    """A person has looked, or it stops there."""
    with benched(tmp_path) as stage:
        ends, _ = _bench(stage, "bench-routes", elsewhere=frozenset(), real=True)
        assert "second way" in ends[FRESH].why
        assert stage.world.requests(FRESH) == 0


def test_a_unit_that_no_playbook_reaches(tmp_path: Path) -> None:
    """Said with those that are."""
    with benched(tmp_path) as stage, pytest.raises(CallError, match="nobody"):
        _bench(stage, only=("nobody",))
