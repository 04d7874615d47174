from typing import Any

import pytest

from mocks.nmos.model import MANAGER, ROOT, Model, below, holder, judged, model

UNIT = {"serial": "SW-7", "name": "node"}
PATH = ["root", "DeviceManager"]


def a_model(**kept: Any) -> Model:
    """A node with a sender that is on, and a receiver."""
    return model(UNIT, {"program": True, "monitor": None}, kept)


def value(level: int, index: int, held: Any) -> dict[str, Any]:
    """A property's holder."""
    return {"id": {"level": level, "index": index}, "descriptor": None, "value": held}


def an_object(path: list[str], *values: dict[str, Any]) -> dict[str, Any]:
    """An object's holder."""
    return {"path": path, "values": list(values)}


def restored(*objects: dict[str, Any], path: str = ROOT) -> tuple[list[Any], dict[str, Any]]:
    """What a restore of a data set comes to."""
    return judged(a_model(), {"values": list(objects)}, path, recurse=True)


def test_what_is_held_can_be_put_back_whole() -> None:
    """The data set of a backup is one for a restore, and then changes nothing."""
    held = holder(a_model(), ROOT, recurse=True, descriptors=True)
    answers, changes = judged(a_model(), held, ROOT, recurse=True)
    assert [one["status"] for one in answers] == [200] * 4
    assert changes == {}
    assert [one["path"] for one in held["values"]] == [
        ["root"],
        PATH,
        ["root", "program"],
        ["root", "monitor"],
    ]


def test_one_object_alone_or_all_below() -> None:
    """By ``recurse``; descriptors only where they are asked for."""
    alone = holder(a_model(), ROOT, recurse=False, descriptors=False)["values"]
    assert [one["path"] for one in alone] == [["root"]]
    assert {one["descriptor"] for one in alone[0]["values"]} == {None}
    assert below(MANAGER, recurse=True)("root.DeviceManager.x")
    assert not below(MANAGER, recurse=True)("root.DeviceManagerX")


def test_what_differs_is_written() -> None:
    """A label, a switch; what a receiver's worker has no switch for is an error."""
    answers, changes = restored(
        an_object(PATH, value(3, 6, "North")), an_object(["root", "program"], value(2, 1, False))
    )
    assert [one["status"] for one in answers] == [200, 200]
    assert changes == {"root.DeviceManager/3p6": "North", "root.program/2p1": False}
    answers, changes = restored(an_object(["root", "monitor"], value(2, 1, True)))
    assert (answers[0]["status"], changes) == (400, {})


def test_what_is_read_only_stays_with_a_warning() -> None:
    """A warning (300) does not fail the object."""
    ((answer,), changes) = restored(an_object(PATH, value(3, 4, "SW-8"), value(3, 5, "stock 9")))
    assert (answer["status"], [one["noticeType"] for one in answer["notices"]]) == (200, [300])
    assert changes == {"root.DeviceManager/3p5": "stock 9"}


def test_one_that_fails_leaves_the_others_done() -> None:
    """A restore is not atomic: each object has a status of its own."""
    answers, changes = restored(
        an_object(PATH, value(3, 6, 7)),
        an_object(["root", "nobody"], value(1, 6, "x")),
        an_object(["root"], value(1, 6, "Rack")),
        an_object(["root"], value(9, 9, "x")),
    )
    assert [one["status"] for one in answers] == [400, 404, 200, 400]
    assert changes == {"root/1p6": "Rack"}


def test_what_lies_elsewhere_is_left_out() -> None:
    """Only what stands at the path, or below it."""
    assert restored(an_object(PATH, value(3, 6, "x")), path="root.program") == ([], {})


@pytest.mark.parametrize(("own_id", "held"), [("1p6", "Rack"), ("3p5", "stock 9")])
def test_what_was_written_is_kept(own_id: str, held: str) -> None:
    """By path and id."""
    kept = {f"{MANAGER}/{own_id}": held}
    assert model(UNIT, {}, kept)[MANAGER][own_id].value == held
