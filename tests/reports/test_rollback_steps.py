"""Each thing to set is worded field by field."""

import pytest

from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Step,
    StepKind,
    StepValue,
)
from orchestrator.reports.rollback_steps import all_fields, entry, field_name, fields, shown


def step(kind: StepKind, was: StepValue, will: StepValue, **subject: str) -> Step:
    """A step of one device."""
    return Step(
        id="s",
        kind=kind,
        device="d",
        at="127.44.3.31",
        as_found=was,
        wanted=will,
        **subject,  # type: ignore[arg-type]
    )


def test_only_what_differs_is_set() -> None:
    """A group that stays alike is not to be set; all that is named can still be listed."""
    one = step(StepKind.RENUMBER, Assigned(1, ("g", "h")), Assigned(2, ("g", "i")), source="s")
    assert fields(one) == [("number", "2", "1"), ("group of leg 2", "i", "h")]
    assert len(all_fields(one)) == 3


def test_a_source_without_number_or_group_has_words() -> None:
    """Unassigned and none stand for what a page shows as empty."""
    one = step(StepKind.RENUMBER, Assigned(None, (None,)), Assigned(2, ("g",)), source="s")
    assert fields(one) == [("number", "2", "unassigned"), ("group", "g", "none")]


def test_groups_that_one_side_does_not_name_are_left_out() -> None:
    """Where a step speaks of the number alone, nothing is made up about groups."""
    one = step(StepKind.RENUMBER, Assigned(1, ("g",)), Assigned(2), source="s")
    assert fields(one) == [("number", "2", "1")]


def test_an_address_names_its_interface_and_the_gateway_only_if_it_changes() -> None:
    """Address, prefix and gateway are fields of their own."""
    was = AddressValue("main", "127.44.3.31", 24, "127.44.3.254")
    one = step(StepKind.READDRESS, was, AddressValue("main", "127.44.3.32", 24))
    assert fields(one) == [
        ("address of interface main", "127.44.3.32", "127.44.3.31"),
        ("gateway", "none", "127.44.3.254"),
    ]


def test_nothing_different_still_names_the_thing() -> None:
    """A step from a value to the same value names its first field."""
    assert fields(step(StepKind.REPOINT, Hearing(1), Hearing(1), destination="x")) == [
        ("listens to", "1", "1")
    ]


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        (StepKind.DISABLE, "switch"),
        (StepKind.ENABLE, "switch"),
        (StepKind.RENUMBER, "number"),
        (StepKind.REPOINT, "listens to"),
        (StepKind.READDRESS, "address"),
        (StepKind.SET, "`ptp_domain`"),
        (StepKind.BY_HAND, "`ptp_domain`"),
    ],
)
def test_every_field_has_a_name(kind: StepKind, name: str) -> None:
    """A setting goes by its own name, other fields by the trade's."""
    assert field_name(step(kind, None, None, setting="ptp_domain")) == name


def test_values_as_a_page_shows_them() -> None:
    """Switches are on and off; empty and unknown are said."""
    assert [shown(value) for value in (True, False, "", None, 5, "x")] == [
        "on",
        "off",
        "(empty)",
        "not known",
        "5",
        "x",
    ]
    assert entry("d/s", "text") == ["- `d/s`: text"]
