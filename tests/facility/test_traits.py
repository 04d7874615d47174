"""What is taken of a device that its description does not say."""

from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Batch, Effect, Hears, Saves, Traits


def test_the_careful_answers_are_the_default() -> None:
    """One request at a time, generous waits, nothing that it can't be known to do."""
    traits = Traits(can=frozenset({StepKind.CONFIRM}))
    assert traits.can == {StepKind.CONFIRM}
    assert traits.requests_at_once == 1
    assert traits.settle_s >= 10
    assert traits.late_s >= 5
    assert traits.tried_with == ()
    assert traits.saves is Saves.AT_ONCE
    assert traits.hears is Hears.NUMBER


def test_words_that_descriptions_use() -> None:
    """They stand in people's files, and so may not change."""
    assert [str(effect) for effect in Effect] == ["none", "interrupts", "reboots", "plant_wide"]
    assert [str(saves) for saves in Saves] == ["at_once", "on_save"]
    assert [str(hears) for hears in Hears] == ["number", "group"]


def test_firmware_that_it_was_tried_with() -> None:
    """2.7 covers 2.7.3, and not 2.71; where nothing is named, any will do."""
    tried = Traits(can=frozenset(), tried_with=("2.7",))
    assert [tried.tried(each) for each in ("2.7", "2.7.3", "2.71", "")] == [
        True,
        True,
        False,
        False,
    ]
    assert Traits(can=frozenset()).tried("9")


def test_what_goes_in_one_request() -> None:
    """Kinds of one batch, and no more of them than it takes; alone, everything goes."""
    switches = Batch(frozenset({StepKind.DISABLE, StepKind.ENABLE}), 2)
    traits = Traits(can=frozenset(), batches=(switches, Batch(frozenset({StepKind.REPOINT}), 8)))
    assert traits.batch(StepKind.ENABLE) is switches
    assert traits.batch(StepKind.SAVE) is None
    off, on, point = StepKind.DISABLE, StepKind.ENABLE, StepKind.REPOINT
    asked = ([off, on], [off, on, off], [off, point], [point] * 8)
    assert [traits.together(kinds) for kinds in asked] == [True, False, False, True]
