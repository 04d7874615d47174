"""Range entries made into one value for each member."""

import pytest

from orchestrator.documents.plans.members import Member, Members
from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import ListensTo

PATH = ("devices", "a", "sources")


def members(key: str) -> tuple[Members, list[Member[None]]]:
    """The members of one key."""
    made = Members()
    return made, list(made.each({key: None}, PATH))


def test_each_member_knows_its_place() -> None:
    """Name, index, how many, and the path of the entry that stands in the document."""
    _, found = members("in-{3..4}")
    assert [(item.name, item.index, item.count) for item in found] == [
        ("in-3", 0, 2),
        ("in-4", 1, 2),
    ]
    assert found[1].path == (*PATH, "in-{3..4}")


def test_spreading() -> None:
    """Numbers, texts, groups and what is listened to, in order."""
    made, found = members("in-{1..2}")
    assert [made.number(NumberRange(411, 412), item) for item in found] == [411, 412]
    assert [made.text("L{08..09}", item, "label") for item in found] == ["L08", "L09"]
    assert [made.text("same", item, "label") for item in found] == ["same", "same"]
    groups = [
        made.groups(["239.194.1.{1..2}", "239.194.1.{5..6}:7"], (5004, 5006), i) for i in found
    ]
    assert groups == [
        ("239.194.1.1:5004", "239.194.1.5:7"),
        ("239.194.1.2:5004", "239.194.1.6:7"),
    ]
    assert [made.hearing("411-412", 1, item) for item in found] == [
        ListensTo(number=411),
        ListensTo(number=412),
    ]
    assert [made.hearing("{411..412}", 1, item) for item in found] == [
        ListensTo(number=411),
        ListensTo(number=412),
    ]
    assert [made.hearing(7, 1, item) for item in found] == [ListensTo(number=7)] * 2
    assert made.faults == []


@pytest.mark.parametrize(
    ("key", "value", "what"),
    [
        ("in-{1..2}", 411, "one number for 2 sources"),
        ("in-{1..2}", NumberRange(411, 413), "411-413 holds 3, but the key names 2"),
        ("in-1", NumberRange(411, 412), "411-412 holds 2, but the key names 1"),
    ],
)
def test_numbers_that_do_not_match(key: str, value: object, what: str) -> None:
    """Told once, not for each member."""
    made, found = members(key)
    assert [made.number(value, item) for item in found] == [None] * len(found)
    assert [(fault.what, fault.path[-1]) for fault in made.faults] == [(what, "number")]


def test_texts_and_groups_that_do_not_match() -> None:
    """A range of another length, a range where the key has none, one group for several."""
    made, found = members("in-{1..2}")
    for item in found:
        made.text("L{1..3}", item, "label")
        made.groups(["239.194.1.1"], (5004,), item)
        made.hearing("a/in-{1..3}", 1, item)
    assert [fault.path[-1] for fault in made.faults] == ["label", "groups", "listens_to"]
    made, (item,) = members("in-1")
    assert made.text("L{1..3}", item, "label") is None
    assert made.faults[0].what == "'L{1..3}' is spread over 3, but the key names 1"


def test_one_name_twice() -> None:
    """By a range and by itself: told at the second."""
    made = Members()
    names = [item.name for item in made.each({"a-{1..3}": None, "a-2": None}, PATH)]
    assert names == ["a-1", "a-2", "a-3"]
    (fault,) = made.faults
    assert "'a-2' is named twice: by 'a-{1..3}' and by 'a-2'" in fault.what


def test_what_is_not_said_stays_unsaid() -> None:
    """None is none for every member."""
    made, (item,) = members("in-1")
    assert made.number(None, item) is None
    assert made.text(None, item, "label") is None
    assert made.groups(None, (5004,), item) is None
    assert made.hearing(None, 5004, item) is None
