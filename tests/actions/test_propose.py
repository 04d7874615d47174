"""From a survey to a dry-run."""

import asyncio
from datetime import datetime

import pytest

from orchestrator.actions.apply import apply, order_of
from orchestrator.actions.propose import Choice, propose, scene_of
from orchestrator.errors import CallError
from orchestrator.facility.found import AsFound
from orchestrator.facility.hazard import Grade, Hazard
from tests.actions.desks import attended, desk_of
from tests.cli.stage import Stage


@pytest.fixture
def found(stage: Stage) -> AsFound:
    """The survey."""
    return asyncio.run(desk_of(stage).survey())


def test_rooms_by_default_are_those_of_the_playbooks(stage: Stage, found: AsFound) -> None:
    """The rack is in no playbook, and so is not among them."""
    scene = scene_of(desk_of(stage), found, Choice())
    assert scene.rooms == {"studio-south", "news-booth", "talks"}
    assert "listener:rack-codec/output-2" in scene.accepted


def test_chosen_rooms_and_phases(stage: Stage, found: AsFound) -> None:
    """Only what is asked of them is asked; a room that is not there is a wrong call."""
    scene = scene_of(desk_of(stage), found, Choice(phases=(("talks",),)))
    assert scene.rooms == {"talks"}
    assert set(scene.asked) == {"talks-engine"}
    with pytest.raises(CallError, match="no room no-such"):
        scene_of(desk_of(stage), found, Choice(rooms=("no-such",)))


def test_releases_expire(stage: Stage, found: AsFound) -> None:
    """A release that ended before now is none."""
    path = stage.folder / "playbooks" / "programme-numbers.yaml"
    text = path.read_text(encoding="utf-8")
    release = "  - {what: rack-codec, by: M. Okafor, reference: R-1, until: '%s'}\n"
    until = ("2020-01-01T00:00:00+00:00", "2999-01-01T00:00:00+00:00")
    path.write_text(text + "releases:\n" + "".join(release % day for day in until), "utf-8")
    scene = scene_of(desk_of(stage), found, Choice())
    assert [datetime.fromisoformat(one.until).year for one in scene.releases] == [2999]


def test_hazards_found_elsewhere_are_weighed_too(stage: Stage, found: AsFound) -> None:
    """What needs a name can be accepted; what stops can't; what blocks comes first."""
    besides = tuple(
        Hazard(name=name, rule="x", grade=grade, what=name)
        for name, grade in (("named", Grade.NEEDS_NAME), ("stop", Grade.STOPS))
    )
    desk, choice = desk_of(stage), Choice(accepted={"named": "why", "stop": "why"})
    plan = propose(desk, found, choice, besides=besides)
    hazards = {hazard.name: hazard for hazard in plan.hazards}
    assert hazards["named"].accepted == "why"
    assert hazards["stop"].accepted is None
    assert plan.stopped
    assert plan.hazards[0].name == "stop"
    assert not propose(desk, found, choice, besides=besides[:1]).stopped


def test_an_unfinished_run_owns_its_devices(stage: Stage, found: AsFound) -> None:
    """It stops every change of them, but not that which takes it back."""
    desk = desk_of(stage)
    order = order_of("x", propose(desk, found, Choice()), found)
    attendance, _, _ = attended("go:1", "go:2")
    stage.world.another_hand("talks-engine").set_source("program-1", number=119)
    ended = asyncio.run(apply(desk, order, attendance))
    assert not ended.finished
    again = propose(desk, found, Choice())
    assert f"unfinished:{ended.run}" in {hazard.name for hazard in again.hazards}
    assert again.stopped
    assert not propose(desk, found, Choice(), undoes=ended.run).stopped
    with pytest.raises(CallError, match="is not finished"):
        asyncio.run(apply(desk, order, attendance))
