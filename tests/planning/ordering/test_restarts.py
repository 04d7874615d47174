"""Settings that restart a device which boots with what it saved."""

import pytest

from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Effect, Saves
from tests.planning import hand
from tests.planning.scenes import Box, address

K = StepKind


def _box(saves: Saves, *, to: int | None = None) -> dict[str, Box]:
    box = Box(
        31,
        {"s": (311, True)},
        settings={"rate": 48, "other": 0, "plain": 0},
        set_to={"rate": 96, "other": 1, "plain": 1},
        labels={"s": "News"},
        wants={"s": (315, True)},
        effects={"rate": Effect.REBOOTS, "other": Effect.REBOOTS},
        saves=saves,
        to=None if to is None else address(to),
    )
    return {"a": box}


def _did(saves: Saves, *, to: int | None = None) -> list[str]:
    _, sequence = hand.safe(_box(saves, to=to))
    return [step.setting or str(step.kind) for step in sequence.steps]


@pytest.mark.parametrize("to", [None, 40])
def test_they_come_first_with_the_sources_off_and_saved(to: int | None) -> None:
    """One after the other, and all else of the device after them, a readdress too."""
    did = _did(Saves.ON_SAVE, to=to)
    assert did[:2] == ["disable", "save"]
    assert set(did[2:4]) == {"rate", "other"}
    assert {"renumber", "label", "plain", "enable"} <= set(did[4:])
    assert ("readdress" in did[4:]) is (to is not None)


def test_a_device_that_keeps_all_at_once_needs_no_save_for_it() -> None:
    """A restart takes nothing back there."""
    assert "save" not in _did(Saves.AT_ONCE)
