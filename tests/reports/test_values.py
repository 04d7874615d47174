"""Values as plain JSON, in the documented form."""

import json
from typing import Any

import pytest

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import AddressValue, Assigned, Hearing, StepValue
from orchestrator.planning.result import DryRun
from orchestrator.reports import values


@pytest.mark.parametrize(
    ("value", "plain"),
    [
        (Assigned(311, ("g", None)), {"number": 311, "groups": ["g", None]}),
        (Assigned(None), {"number": None, "groups": []}),
        (Hearing(311), {"listens_to": 311}),
        (Hearing(group="g"), {"listens_to": "g"}),
        (Hearing(), {"listens_to": None}),
        (
            AddressValue("main", "127.44.3.31", 24),
            {"interface": "main", "address": "127.44.3.31", "prefix": 24, "gateway": None},
        ),
        (True, True),
        (0, 0),
        ("x", "x"),
        (None, None),
    ],
)
def test_each_value_has_its_documented_form(value: StepValue, plain: Any) -> None:
    """The form is the one that the module's docstring promises, and JSON keeps it."""
    made = values.value_json(value)
    assert made == plain
    assert type(made) is type(plain)
    assert json.loads(json.dumps(made)) == plain


def test_a_subject_names_only_what_it_has() -> None:
    """Source or destination stand only where there is one."""
    assert values.subject_json("d", None, None) == {"device": "d"}
    assert values.subject_json("d", "s", None) == {"device": "d", "source": "s"}
    assert values.subject_json("d", None, "x") == {"device": "d", "destination": "x"}


def test_changes_and_steps_have_their_keys(dry_run: DryRun) -> None:
    """Changes and steps carry the keys of the contract."""
    change = values.change_json(dry_run.changes[0])
    assert change["setting"] == "number"
    assert change["as_found"] == {"number": 101, "groups": ["239.194.0.101:5004"]}
    step = values.step_json(dry_run.sequence.steps[3])
    assert step["id"] == "s4"
    assert step["step"] == "renumber"
    assert step["after"] == ["s2", "s3"]
    assert "destination" not in step
    assert "setting" not in step
    assert values.step_json(dry_run.sequence.steps[7])["setting"] == "label"


def test_a_hazard_has_its_keys() -> None:
    """A hazard's grade is a plain word."""
    made = values.hazard_json(Hazard(name="n", rule="H1", grade=Grade.STOPS, what="w"))
    assert made["grade"] == "stops"
    assert made["accepted"] is None
    assert json.dumps(made)
