"""The shape of the plan."""

import pytest
from pydantic import ValidationError

from orchestrator.documents.plans.plan_model import CommonModel, DeviceModel, PlanModel, TypeModel
from orchestrator.documents.reading import yaml_reader


def test_the_facility_fits(texts: dict[str, str]) -> None:
    """And what is left out has the usual value."""
    tree, _ = yaml_reader.read(texts["plan.yaml"].encode(), "plan.yaml")
    plan = PlanModel.model_validate(tree.plain())
    assert plan.networks["bench"].keep_clear == []
    assert plan.devices["alert-inserter"].speaks is None
    assert plan.types["engine"].speaks == ["corvid-engine"]


def test_types_hold_no_identity() -> None:
    """Room, address, interfaces, serial and type are each device's own."""
    own = set(DeviceModel.model_fields) - set(TypeModel.model_fields)
    assert own == {"room", "type", "address", "interfaces", "serial"}
    assert set(TypeModel.model_fields) == set(CommonModel.model_fields)


@pytest.mark.parametrize("numbering", ["media", {"range": "1-99", "group_range": "239.194.0.0/16"}])
def test_numbering_is_rules_or_the_name_of_a_network(numbering: object) -> None:
    """Either, without a hint which of the two was meant in what goes wrong."""
    network = {"subnet": "127.0.0.0/24", "numbering": numbering}
    document = {"facility": "x", "networks": {"n": network}, "rooms": {}, "devices": {}}
    PlanModel.model_validate(document)
    network["numbering"] = {"range": "1-99"}
    with pytest.raises(ValidationError) as caught:
        PlanModel.model_validate(document)
    places = [error["loc"] for error in caught.value.errors()]
    assert places == [("networks", "n", "numbering", "group_range")]
