"""A plan by itself."""

import pytest

from orchestrator.documents.plans.plan_reader import read_plan
from orchestrator.errors import DocumentError


def test_a_plan_is_read(texts: dict[str, str]) -> None:
    """The same values as with the whole folder."""
    plan = read_plan(texts["plan.yaml"].encode(), "plan.yaml")
    assert next(iter(plan.devices)) == "north-engine"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("facility: Tern", "facility: &a Tern"),
        ("room: rack", "rom: rack"),
        ("type: engine", "type: x"),
        ("on_air:", "on_air:\non_air:"),
    ],
)
def test_anything_wrong_at_all_is_refused(texts: dict[str, str], old: str, new: str) -> None:
    """Text, shape and what the model can't see: a plan in doubt is not written over."""
    with pytest.raises(DocumentError):
        read_plan(texts["plan.yaml"].replace(old, new, 1).encode(), "plan.yaml")
