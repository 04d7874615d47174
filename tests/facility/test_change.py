"""A change: one setting of one device."""

import pytest

from orchestrator.facility.change import Change
from orchestrator.facility.step import Assigned


@pytest.mark.parametrize(
    ("source", "destination", "subject"),
    [(None, None, "a"), ("x", None, "a/x"), (None, "in-1", "a/in-1")],
)
def test_the_subject(source: str | None, destination: str | None, subject: str) -> None:
    """The device, or what of it changes."""
    change = Change(
        device="a",
        room="north",
        setting="number",
        as_found=Assigned(1),
        wanted=Assigned(2),
        source=source,
        destination=destination,
    )
    assert change.subject == subject
