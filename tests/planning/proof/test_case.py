from dataclasses import replace

import pytest

from orchestrator.facility.hazard import Grade
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import StepKind
from orchestrator.planning.proof.case import Case, Meant, broken, label
from orchestrator.planning.proof.order import BadOrder
from tests.planning import hand
from tests.planning.scenes import Box, scene


def test_what_is_meant_is_what_the_playbooks_say() -> None:
    """Only destinations that a playbook names are meant to listen to something."""
    wish = ListensTo(source=Ref("a", "s"))
    where = scene(
        {
            "a": Box(31, {"s": (311, True)}),
            "b": Box(32, hears={"in": None, "other": 311}, listens={"in": wish}),
        }
    )
    assert Meant.of(where).listens_to == {Ref("b", "in"): wish}


def test_a_case_without_order_is_refused() -> None:
    """A step that waits for an unknown one makes no case."""
    where, sequence = hand.safe(hand.chain())
    first = replace(sequence.steps[0], after=("s99",))
    with pytest.raises(BadOrder):
        Case.of(where, hand.changed(sequence, first), Meant())


def test_a_broken_rule_stops_and_is_named_by_rule_and_place() -> None:
    """The hazard's name holds the rule and its first two places, so that it stays the same."""
    hazard = broken("H1", "what", ("s1", "a/s", "b/s"))
    assert (hazard.name, hazard.rule, hazard.grade) == ("unsafe:H1:s1:a/s", "H1", Grade.STOPS)
    assert "do not apply" in hazard.fix


def test_a_step_is_labelled_by_id_kind_and_subject() -> None:
    """The words say which step, what it does and to what."""
    _, sequence = hand.safe(hand.chain())
    step = hand.step(sequence, StepKind.DISABLE, "b/s")
    assert label(step) == f"{step.id} (disable b/s)"
