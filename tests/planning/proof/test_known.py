from dataclasses import replace

import pytest

from orchestrator.facility.found import NotFound
from orchestrator.facility.step import AddressValue, Sequence, Step, StepKind
from orchestrator.planning.proof.known import unknown
from orchestrator.planning.proof.lines import by_device
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import address

K = StepKind
ABSENT = NotFound(at=address(32), why="nothing answered", kind="Unreachable")


def _found(where: Scene, sequence: Sequence) -> set[tuple[str, str]]:
    whole = hand.said(hand.verdict(where, sequence))
    own = hand.said(list(unknown(where, by_device(sequence.steps))))
    assert own <= whole
    return own


def _safe() -> tuple[Scene, Sequence]:
    boxes = hand.ring()
    boxes["a"].to = address(40)
    boxes["a"].settings["domain"] = 0
    boxes["a"].set_to["domain"] = 3
    return hand.safe(boxes)


def test_what_was_found_is_known() -> None:
    """A safe sequence is about nothing else."""
    assert _found(*_safe()) == set()


@pytest.mark.parametrize("entry", [ABSENT, None])
def test_a_device_that_no_longer_answers_is_not_written(entry: NotFound | None) -> None:
    """A work order proved again after a survey that missed a device: each of its steps is named."""
    where, sequence = _safe()
    devices = {name: found for name, found in where.found.devices.items() if name != "b"}
    if entry is not None:
        devices["b"] = entry
    absent = replace(where, found=replace(where.found, devices=devices))
    assert _found(absent, sequence) == {("H7", s.id) for s in sequence.steps if s.device == "b"}


def test_a_device_that_the_plan_has_no_more_is_not_written() -> None:
    """The plan, or the device descriptions, lost a device since the work order was made."""
    where, sequence = _safe()
    expected = {("H7", s.id) for s in sequence.steps if s.device == "b"}
    devices = {name: d for name, d in where.plan.devices.items() if name != "b"}
    assert _found(replace(where, plan=replace(where.plan, devices=devices)), sequence) == expected
    traits = {name: t for name, t in where.traits.items() if name != "b"}
    assert _found(replace(where, traits=traits), sequence) == expected


def _ghosts(sequence: Sequence) -> list[Step]:
    move = hand.step(sequence, K.READDRESS, "a")
    return [
        replace(hand.step(sequence, K.RENUMBER, "b/s"), source="ghost"),
        replace(hand.step(sequence, K.REPOINT, "c/in"), destination="ghost"),
        replace(next(s for s in sequence.steps if s.setting == "domain"), setting="ghost"),
        replace(move, wanted=AddressValue("ghost", address(40), 24, None)),
    ]


@pytest.mark.parametrize("which", range(4))
def test_a_step_about_what_the_device_has_not_is_named(which: int) -> None:
    """A source, destination, setting or interface that was not found is named with the step."""
    where, sequence = _safe()
    ghost = _ghosts(sequence)[which]
    assert _found(where, hand.changed(sequence, ghost)) == {("H7", ghost.id)}
    (hazard,) = unknown(where, by_device(hand.changed(sequence, ghost).steps))
    assert "ghost" in hazard.what
