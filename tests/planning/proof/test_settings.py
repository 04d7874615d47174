from dataclasses import replace

import pytest

from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Effect, Saves
from orchestrator.planning.proof.settings import interrupts, settings
from tests.planning import hand
from tests.planning.scenes import Box

K = StepKind
RISKY = [Effect.INTERRUPTS, Effect.REBOOTS]


def _box(effect: Effect) -> dict[str, Box]:
    return {
        "a": Box(
            31,
            {"s": (311, True), "t": (312, False)},
            settings={"domain": 0},
            set_to={"domain": 1},
            labels={"s": "News"},
            effects={"domain": effect},
        )
    }


@pytest.mark.parametrize("effect", RISKY)
def test_a_setting_that_interrupts_waits_for_silence(effect: Effect) -> None:
    """The source goes off before and comes back after; where it does not, it is named."""
    where, sequence = hand.safe(_box(effect))
    assert list(settings(hand.case(where, sequence))) == []
    write = next(s for s in sequence.steps if s.setting == "domain")
    for wrong in (
        hand.dropped(sequence, hand.step(sequence, K.DISABLE, "a/s")),
        hand.before(sequence, write, hand.step(sequence, K.DISABLE, "a/s")),
        hand.apart(sequence, write, hand.step(sequence, K.ENABLE, "a/s")),
    ):
        found = list(settings(hand.case(where, wrong)))
        assert {(h.rule, h.where) for h in found} == {("settings", (write.id, "a/s"))}


def test_a_harmless_setting_and_a_label_interrupt_nothing() -> None:
    """A setting without effect, and a source's label, may be written while it is enabled."""
    where, sequence = hand.safe(_box(Effect.NONE))
    case = hand.case(where, sequence)
    assert {step.kind for step in sequence.steps} == {K.SET}
    assert not any(interrupts(case, step) for step in sequence.steps)
    assert list(settings(case)) == []


def test_a_label_is_no_setting_of_the_device() -> None:
    """A label that shares its name with a setting that interrupts is still only a label."""
    where, sequence = hand.safe(_box(Effect.NONE))
    traits = replace(where.traits["a"], effects={"label": Effect.REBOOTS})
    case = hand.case(replace(where, traits={"a": traits}), sequence)
    assert not interrupts(case, hand.step(sequence, K.SET, "a/s"))


def test_a_reboot_may_take_nothing_back() -> None:
    """Whatever comes before it has to be saved by then, on a device that boots with what it saved.

    A step put between the save and the reboot, or beside them, is named; and the save is needed
    even where nothing was done before.
    """
    boxes = _box(Effect.REBOOTS)
    boxes["a"].saves = Saves.ON_SAVE
    where, sequence = hand.safe(boxes)
    assert list(settings(hand.case(where, sequence))) == []
    write = next(s for s in sequence.steps if s.setting == "domain")
    label = hand.step(sequence, K.SET, "a/s")
    save = next(s for s in sequence.steps if s.kind is K.SAVE)
    for wrong, lost in (
        (hand.apart(sequence, write, label), label.id),
        (hand.dropped(sequence, save), "a"),
    ):
        found = list(settings(hand.case(where, wrong)))
        assert (write.id, lost) in {h.where for h in found if h.rule == "settings"}
    at_once = {"a": replace(where.traits["a"], saves=Saves.AT_ONCE)}
    dropped = hand.dropped(sequence, save)
    assert list(settings(hand.case(replace(where, traits=at_once), dropped))) == []
