import dataclasses
from typing import Any

import pytest

from orchestrator.adapters.declared.as_found import found_values, now, placeholders
from orchestrator.adapters.declared.entries import Entry
from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.facility.description import Pick
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.facility.traits import Hears
from tests.adapters.makes import CORVID, GROUP, TAMARISK, a_step

K = StepKind


def found(step: Step, value: Any) -> Step:
    """The step, with what it found."""
    return dataclasses.replace(step, as_found=value)


@pytest.mark.parametrize(
    ("kind", "value", "more", "expected"),
    [
        (K.DISABLE, True, {}, {"enabled": True}),
        (K.ENABLE, False, {}, {"enabled": False}),
        (
            K.RENUMBER,
            Assigned(421, (GROUP,)),
            {},
            {"number": 421, "group": GROUP, "group_1": GROUP},
        ),
        (K.RENUMBER, Assigned(None, (None,)), {}, {"number": None, "group": None, "group_1": None}),
        (K.RENUMBER, Assigned(1, ("a", "b")), {}, {"number": 1, "group_1": "a", "group_2": "b"}),
        (K.RENUMBER, Assigned(1), {}, {"number": 1}),
        (K.REPOINT, Hearing(group=GROUP), {}, {"hears": GROUP}),
        (K.REPOINT, Hearing(), {}, {"hears": None}),
        (
            K.READDRESS,
            AddressValue("main", "127.44.3.71", 24),
            {},
            {"address": "127.44.3.71", "prefix": 24, "gateway": None},
        ),
        (K.SET, "MIC", {"source": "mic", "setting": "label"}, {"label": "MIC"}),
        (K.SET, 0, {"setting": "ptp_domain"}, {"value": 0}),
        (K.SAVE, True, {}, {}),
        (K.RENUMBER, None, {}, {}),
        (K.DISABLE, None, {}, {}),
    ],
)
def test_what_a_step_found(kind: StepKind, value: Any, more: Any, expected: Any) -> None:
    """By the names of the fields; nothing where the step says nothing."""
    assert found_values(TAMARISK, found(a_step(kind, **more), value)) == expected


def test_a_destination_by_number() -> None:
    """A device that listens by number found a number."""
    step = found(a_step(K.REPOINT, Hearing(5), destination="codec-1"), Hearing(4))
    assert found_values(CORVID, step) == {"hears": 4}


def test_placeholders_are_in_the_devices_writing() -> None:
    """Only those that are asked for, and that the description can write."""
    fields = TAMARISK.reads["sources"].fields
    values: dict[str, Any] = {"number": 42, "group": None, "group_1": GROUP, "other": 1}
    asked = frozenset({"found_number", "found_group", "found_group_1", "found_other", "number"})
    assert placeholders(fields, values, asked) == {
        "found_number": "0042",
        "found_group": "",
        "found_group_1": GROUP,
    }
    assert placeholders(fields, values, frozenset()) == {}


def test_what_stands_there_now_is_read_as_ever() -> None:
    """Numbers as numbers, switches as switches; what stands elsewhere is not looked for."""
    fields = {**TAMARISK.reads["sources"].fields, "label": Pick(at="/x", get="/names/{key}")}
    value = {"num": "0042", "dest": "", "name": "", "state": "on"}
    entry = Entry(name="mic", key="1", value=value, pointer="")
    names = frozenset({"number", "group", "enabled", "label", "nothing"})
    assert now(entry, fields, names, Hears.GROUP) == {
        "number": 42,
        "group": None,
        "enabled": True,
    }
    lacking = dataclasses.replace(entry, value={})
    with pytest.raises(Unusable, match="no value at /state"):
        now(lacking, fields, names, Hears.GROUP)


@pytest.mark.parametrize(("hears", "raw", "ours"), [(Hears.NUMBER, 5, 5), (Hears.GROUP, "5", "5")])
def test_what_a_destination_hears_now(hears: Hears, raw: Any, ours: Any) -> None:
    """A number or a group, as the traits say."""
    entry = Entry(name="out", key="1", value={"f": raw}, pointer="")
    fields = {"hears": Pick(at="/f")}
    assert now(entry, fields, frozenset({"hears"}), hears) == {"hears": ours}
