"""Work orders: made of a dry-run, and still true or not."""

import asyncio
from dataclasses import replace

import pytest

from orchestrator.actions.propose import Choice, propose
from orchestrator.actions.work_order import no_longer_true, order_from, work_order_of
from orchestrator.documents.work_order import WorkOrder
from orchestrator.errors import CallError
from orchestrator.facility.found import AsFound
from orchestrator.planning.digest import digest
from tests.actions.desks import desk_of
from tests.cli.stage import PROGRAMMES, Stage


def survey(stage: Stage) -> AsFound:
    """The survey now."""
    return asyncio.run(desk_of(stage).survey())


@pytest.fixture
def order(stage: Stage) -> WorkOrder:
    """A work order for the programme numbers."""
    desk, found = desk_of(stage), survey(stage)
    return work_order_of(desk, "The new order", propose(desk, found, Choice()), found)


def untrue(stage: Stage, order: WorkOrder) -> list[str]:
    """What is not true any more, in words."""
    return [hazard.what for hazard in no_longer_true(desk_of(stage), order, survey(stage))]


def test_it_takes_only_its_own_devices_for_granted(stage: Stage, order: WorkOrder) -> None:
    """What nobody touched is still true; a change elsewhere that harms nothing does not matter."""
    assert untrue(stage, order) == []
    stage.world.another_hand("master-control").set_source("talkback-2", label="SOMETHING")
    assert untrue(stage, order) == []
    assert order_from(order, survey(stage)).sequence == order.sequence


def test_what_was_changed_is_named(stage: Stage, order: WorkOrder) -> None:
    """By part and name."""
    hand = stage.world.another_hand("news-booth-engine")
    hand.set_destination("mic-1", number=563).set_setting("ptp_priority", 100)
    (what,) = untrue(stage, order)
    assert what == (
        "news-booth-engine was changed since the order was approved: destination mic-1, "
        "setting ptp_priority"
    )


def test_a_device_that_is_gone(stage: Stage, order: WorkOrder) -> None:
    """It does not answer now."""
    stage.world.pull_cable("rack-codec")
    assert untrue(stage, order) == ["rack-codec does not answer now"]


def test_somebody_else_took_a_number_meanwhile(stage: Stage, order: WorkOrder) -> None:
    """A device outside the order can make it unsafe: the proof is made anew."""
    stage.world.another_hand("master-control").set_source("clean-feed-2", number=114)
    assert any("114" in what for what in untrue(stage, order))


def test_another_unit_in_its_place(stage: Stage, order: WorkOrder) -> None:
    """A swapped unit is told by its serial."""
    old = order.before["rack-codec"]
    identity = replace(old.state.identity, serial="TM-0000")
    swapped = replace(old, state=replace(old.state, identity=identity))
    changed = replace(order, before={**order.before, "rack-codec": swapped})
    (what,) = untrue(stage, changed)
    assert what.startswith("rack-codec was TN-8 serial TM-0000")


def test_none_is_made_of_what_is_stopped(stage: Stage) -> None:
    """A dry-run that may not be run can't be approved."""
    desk, found = desk_of(stage), survey(stage)
    plan = replace(propose(desk, found, Choice()), proved=False)
    with pytest.raises(CallError, match="no work order was written"):
        work_order_of(desk, "x", plan, found)


def test_a_room_that_only_holds_an_accepted_listener_is_not_chosen(
    stage: Stage, order: WorkOrder
) -> None:
    """A phase may name it, and yet nothing in it may be altered but what was accepted by name."""
    phases = tuple(replace(each, rooms=(*each.rooms, "rack")) for each in order.sequence.phases)
    sequence = replace(order.sequence, phases=phases)
    order = replace(order, sequence=sequence, digest=digest(sequence))
    assert "rack" not in order.rooms
    path = stage.folder / "playbooks" / PROGRAMMES
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("accepts:")], encoding="utf-8")
    assert untrue(stage, order) == [], "what was approved holds, whatever the playbook says now"
    nobody = replace(order, hazards=tuple(replace(one, accepted=None) for one in order.hazards))
    (what,) = untrue(stage, nobody)
    assert "alters a room that was not chosen" in what


def test_what_destinations_are_meant_to_hear_is_the_orders(stage: Stage, order: WorkOrder) -> None:
    """A playbook that was changed since then neither allows nor forbids anything."""
    for path in (stage.folder / "playbooks").iterdir():
        path.unlink()
    assert untrue(stage, order) == []
