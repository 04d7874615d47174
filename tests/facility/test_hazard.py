"""What could go wrong, and when it stops a run."""

from dataclasses import replace

import pytest

from orchestrator.facility.hazard import Grade, Hazard

HAZARD = Hazard(name="on-air:a/x", rule="H6", grade=Grade.STOPS, what="it is on air")


@pytest.mark.parametrize(
    ("grade", "accepted", "blocks"),
    [
        (Grade.STOPS, None, True),
        (Grade.STOPS, "I know", True),
        (Grade.NEEDS_NAME, None, True),
        (Grade.NEEDS_NAME, "the licensee said so", False),
        (Grade.INFORMATION, None, False),
    ],
)
def test_what_blocks(grade: Grade, accepted: str | None, *, blocks: bool) -> None:
    """Nobody can accept what stops; what needs a name needs one."""
    assert replace(HAZARD, grade=grade, accepted=accepted).blocks is blocks
