from dataclasses import replace

import pytest

from orchestrator.facility.found import Found
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Traits
from orchestrator.planning.dry_run import dry_run
from tests.planning import hand
from tests.planning.scenes import Box, scene

GATEWAY = "127.44.3.254"


def hazards(
    boxes: dict[str, Box], gateway: str | None = GATEWAY, **traits: object
) -> dict[str, Hazard]:
    """The hazards of a scene in which device ``a`` has other traits, and tells that gateway."""
    where = scene(boxes)
    found = where.found.devices["a"]
    assert isinstance(found, Found)
    port = replace(found.state.interfaces["main"], gateway=gateway)
    state = replace(found.state, interfaces={"main": port})
    devices = {**where.found.devices, "a": replace(found, state=state)}
    where = replace(where, found=replace(where.found, devices=devices))
    changed: Traits = replace(where.traits["a"], **traits)  # type: ignore[arg-type]
    planned = dry_run(replace(where, traits={**where.traits, "a": changed}))
    return {hazard.name: hazard for hazard in planned.hazards}


def moved(gateway: str | None) -> dict[str, Box]:
    """A device that is to go to another address, with a gateway there."""
    return {"a": Box(31, exact={"main": ("127.44.3.35", 24, gateway)})}


def test_what_a_device_can_not_do_stops_with_its_reason_and_the_way_out() -> None:
    """An NMOS node can't be readdressed; RESTCONF beside it can, or a person by hand."""
    found = hazards(
        moved(None),
        can=frozenset(StepKind) - {StepKind.READDRESS},
        cannot={StepKind.READDRESS: "the standards offer no way"},
        instead={StepKind.READDRESS: "let it speak RESTCONF too"},
    )
    hazard = found["can-not:a:readdress"]
    assert (hazard.grade, hazard.what) == (Grade.STOPS, "a: the standards offer no way")
    assert hazard.fix == (
        "let it speak RESTCONF too, or do it by hand and take it out of the playbook"
    )


def test_without_a_reason_the_device_description_is_what_lacks_it() -> None:
    """The user can add the write."""
    hazard = hazards(moved(None), can=frozenset({StepKind.CONFIRM}))["can-not:a:readdress"]
    assert hazard.what == "a: it has no way to readdress, by its device description"
    assert hazard.fix.startswith("add the write to its device description, or do it by hand")


def test_a_label_that_can_only_be_read_stops_before_the_run() -> None:
    """Other settings of the device can be set, so the kind of step alone does not tell."""
    boxes = {"a": Box(31, {"s": (311, True)}, labels={"s": "News"})}
    assert not hazards(boxes)
    hazard = hazards(boxes, sets_labels=False)["can-not:a:label"]
    assert hazard.what == "a: it has no way to set the label of a source, by its device description"


def test_a_setting_that_can_only_be_read_stops_before_the_run() -> None:
    """Each setting has a write of its own, or none."""
    boxes = {"a": Box(31, settings={"domain": 0, "rate": 48}, set_to={"domain": 1})}
    assert not hazards(boxes, read_only=frozenset({"rate"}))
    hazard = hazards(boxes, read_only=frozenset({"domain"}))["can-not:a:domain"]
    assert (hazard.grade, hazard.rule) == (Grade.STOPS, "traits")
    assert "no way to set its domain" in hazard.what


@pytest.mark.parametrize(
    ("gateway", "makes", "told"),
    [(GATEWAY, False, True), (GATEWAY, True, False), (None, False, False)],
)
def test_a_gateway_that_is_not_set_is_said(*, gateway: str | None, makes: bool, told: bool) -> None:
    """A device that tells none may need none; whoever moves it has to know."""
    found = hazards(moved(gateway), gateway=None, makes_gateway=makes)
    assert set(found) == ({"no-gateway:a/main"} if told else set())
    if told:
        assert found["no-gateway:a/main"].grade is Grade.INFORMATION
        assert GATEWAY in found["no-gateway:a/main"].fix


def test_a_device_that_can_do_all_it_has_to_is_nothing_to_speak_of() -> None:
    """The usual case."""
    assert not hand.planned(hand.chain()).hazards
