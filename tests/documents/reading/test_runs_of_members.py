"""A range entry taken apart, and put together where it still fits."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.documents.reading.runs_of_members import member_values, runs

KEY = "in-{1..4}"
ENTRY: dict[str, Any] = {"number": "11-14", "label": "L{1..4}", "enabled": True, "slot": "s"}


def test_members_one_by_one() -> None:
    """Each as if it stood by itself."""
    found = member_values(KEY, {**ENTRY, "groups": ["239.194.0.{1..4}"], "also_heard_by": ["x"]})
    assert found["in-2"] == {
        "number": 12,
        "label": "L2",
        "enabled": True,
        "slot": "s",
        "groups": ["239.194.0.2"],
        "also_heard_by": ["x"],
    }


@pytest.mark.parametrize(
    ("changes", "keys"),
    [
        ({}, ["in-{1..4}"]),
        ({1: {"number": 99}}, ["in-1", "in-{2..4}"]),
        ({2: {"number": 99}}, ["in-1", "in-2", "in-{3..4}"]),
        ({4: {"enabled": False}}, ["in-{1..3}", "in-4"]),
        ({n: {"number": 20 + n} for n in range(1, 5)}, ["in-{1..4}"]),
        ({n: {"label": "same"} for n in range(1, 5)}, ["in-{1..4}"]),
        ({n: {"label": f"X0{n}"} for n in range(1, 5)}, ["in-{1..4}"]),
        ({n: {"number": 30 - n} for n in range(1, 5)}, ["in-1", "in-2", "in-3", "in-4"]),
        ({3: {"number": 31}, 4: {"number": 32}}, ["in-{1..2}", "in-{3..4}"]),
    ],
)
def test_kept_together_where_it_can_be(changes: dict[int, dict[str, Any]], keys: list[str]) -> None:
    """Split only where one entry can no longer say it."""
    wanted = member_values(KEY, ENTRY)
    for index, change in changes.items():
        wanted[f"in-{index}"].update(change)
    assert [run.key for run in runs(KEY, ENTRY, wanted)] == keys


def test_words_of_the_entry_are_kept() -> None:
    """What did not change is said as it was, cut to the members that are left."""
    wanted = member_values(KEY, ENTRY)
    wanted["in-1"]["number"] = 99
    first, rest = runs(KEY, ENTRY, wanted)
    assert first.values == {"number": 99, "label": "L1", "enabled": True, "slot": "s"}
    assert rest.values == {"number": "12-14", "label": "L{2..4}", "enabled": True, "slot": "s"}


members = st.fixed_dictionaries(
    {},
    optional={
        "number": st.integers(1, 5),
        "label": st.sampled_from(["A", "A1", "A2", "A3", "B9", "B10", "01", "02"]),
        "enabled": st.booleans(),
        "groups": st.lists(
            st.sampled_from(["239.1.0.1:5", "239.1.0.2:5", "239.1.0.3:5"]), min_size=1, max_size=2
        ),
    },
)


@given(st.lists(members, min_size=4, max_size=4))
def test_whatever_is_put_together_comes_apart_the_same(each: list[dict[str, Any]]) -> None:
    """The runs say what is wanted of every member, in order, and name each once."""
    wanted = {f"in-{index}": values for index, values in enumerate(each, 1)}
    said: dict[str, Any] = {}
    for run in runs(KEY, ENTRY, wanted):
        said.update(member_values(run.key, run.values))
    assert said == wanted
    assert list(said) == list(wanted)
