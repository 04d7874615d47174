"""What is read for each kind of step."""

from dataclasses import replace

import pytest

from orchestrator.facility.step import StepKind
from orchestrator.running.parts import parts_of
from orchestrator.running.protocols import EVERYTHING, Part
from tests.running.made_up import step


@pytest.mark.parametrize(
    ("kind", "more", "parts"),
    [
        (StepKind.DISABLE, {}, {Part.SOURCES}),
        (StepKind.RENUMBER, {}, {Part.SOURCES}),
        (StepKind.REPOINT, {}, {Part.DESTINATIONS}),
        (StepKind.SAVE, {}, EVERYTHING),
        (StepKind.READDRESS, {}, {Part.INTERFACES, Part.SOURCES}),
        (StepKind.CONFIRM, {}, {Part.INTERFACES}),
        (StepKind.SET, {}, {Part.SETTINGS}),
        (StepKind.SET, {"source": "one"}, {Part.SOURCES}),
        (StepKind.SET, {"destination": "in"}, {Part.DESTINATIONS}),
        (StepKind.BY_HAND, {}, EVERYTHING),
    ],
)
def test_only_the_part_that_a_step_is_about_is_read(
    kind: StepKind, more: dict[str, str], parts: set[Part]
) -> None:
    """One part, for each kind of step, and what it rests on."""
    made = step("north.x", kind, None, None)
    assert parts_of(replace(made, **more)) == frozenset(parts)  # type: ignore[arg-type]  # real fields
