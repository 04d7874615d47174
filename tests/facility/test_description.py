"""A device description's values."""

from orchestrator.facility.description import Description, Pick, Read, SignIn, WriteRule
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Traits


def test_null_as_unassigned_is_not_the_same_as_no_word_for_it() -> None:
    """A device that says null for no number can be told from one of which nothing is known."""
    assert Pick(at="/gw", unassigned=None, has_unassigned=True) != Pick(at="/gw")


def test_steps_are_found_by_kind_or_by_name() -> None:
    """The label's write has a name of its own; the others go by their kind."""
    rule = WriteRule(method="PUT", path="/x/{key}")
    description = Description(
        name="d",
        make="Corvid",
        scheme="http",
        port=8080,
        sign_in=SignIn.NONE,
        reads={"identity": Read(get="/unit", fields={"serial": Pick(at="/serial")})},
        writes={StepKind.ENABLE: rule, "set_label": rule},
        traits=Traits(can=frozenset({StepKind.ENABLE})),
    )
    assert description.writes["enable"] is rule
    assert description.writes[StepKind.ENABLE] is rule
    assert description.writes["set_label"] is rule
    assert rule.repeatable
    assert description.reads["identity"].named == "{key}"
