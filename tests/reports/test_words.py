"""One wording for values, steps and failures."""

import pytest

from orchestrator.facility.change import Change
from orchestrator.facility.hazard import Grade
from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Step,
    StepKind,
    StepValue,
)
from orchestrator.reports import words
from orchestrator.running.events import Failed, Failure
from orchestrator.running.record import RunRecord
from orchestrator.running.view import RunState


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (Assigned(311, ("239.194.1.55:5004",)), "number 311 (group 239.194.1.55:5004)"),
        (Assigned(311, ("g1", "g2")), "number 311 (groups g1 and g2)"),
        (Assigned(311, ("g1", None)), "number 311 (groups g1 and none)"),
        (Assigned(311), "number 311"),
        (Assigned(None, (None,)), "no number"),
        (AddressValue("main", "127.44.3.31", 24), "address 127.44.3.31/24 (main)"),
        (
            AddressValue("main", "127.44.3.31", 24, "127.44.3.254"),
            "address 127.44.3.31/24, gateway 127.44.3.254 (main)",
        ),
        (Hearing(311), "listens to 311"),
        (Hearing(), "listens to nothing"),
        (True, "true"),
        (0, "0"),
        ("N-PGM", "N-PGM"),
        ("", "empty"),
        (None, "not known"),
    ],
)
def test_values_in_words(value: StepValue, said: str) -> None:
    """Each kind of value has its words."""
    assert words.value_words(value) == said


def test_a_switch_is_worded_as_one() -> None:
    """The booleans of disable and enable are switches, not truths."""
    assert words.value_words(True, StepKind.ENABLE) == "switched on"
    assert words.value_words(False, StepKind.DISABLE) == "switched off"


def test_values_in_a_table_don_t_repeat_what_they_are() -> None:
    """Beside a column that says number, the number alone stands, with its groups."""
    assert words.cell(Assigned(311, ("g",))) == "311 (group g)"
    assert words.cell(Assigned(None, (None,))) == "none"
    assert words.cell(AddressValue("main", "127.44.3.31", 24, "127.44.3.254")) == (
        "127.44.3.31/24, gateway 127.44.3.254"
    )
    assert words.cell(AddressValue("blue", "127.44.3.31", 24)) == "127.44.3.31/24 (blue)"
    assert words.cell(Hearing()) == "nothing"
    assert words.cell("") == "empty"


def test_short_values() -> None:
    """The shortest form names the number, the address, the switch, or a group without number."""
    assert words.short(Assigned(311, ("g",))) == "311"
    assert words.short(Assigned(None, ("g",))) == "group g"
    assert words.short(Assigned(None)) == "unassigned"
    assert words.short(Hearing()) == "nothing"
    assert words.short(AddressValue("main", "127.44.3.31", 24)) == "127.44.3.31"
    assert words.short(False) == "off"
    assert words.short("x") == "x"


def test_steps_in_words(record: RunRecord) -> None:
    """Each kind of step says what it does."""
    said = {step.id: words.step_words(step) for step in record.sequence.steps}
    assert said["s1"] == "switch off"
    assert said["s3"] == "number 101 to 2990"
    assert said["s5"] == "listen to 239.194.0.101:5004 (was 239.194.0.201:5004)"
    assert said["s6"].startswith("save")
    assert said["s8"] == "label S-PGM to S-NEW"
    assert said["s9"] == "address 127.44.3.31 to 127.44.3.32"
    assert said["s10"] == "see that it answers at 127.44.3.32, by its serial"
    assert said["s11"] == "switch on"
    assert said["s13"] == "ptp domain 0 to 127"
    hand = Step(
        id="h",
        kind=StepKind.BY_HAND,
        device="d",
        at="a",
        as_found=None,
        wanted=None,
        setting="move the cable",
    )
    assert words.step_words(hand) == "by hand: move the cable"


def test_an_interim_number_is_called_transit(record: RunRecord) -> None:
    """A number that the same source leaves again later is the only one marked."""
    assert words.interim_steps(record.sequence) == {"s3"}
    assert words.step_words(record.sequence.steps[2], interim=True).endswith("(transit)")


def test_changes_in_words() -> None:
    """A change of a switch reads as a switch, other settings by their name."""
    switch = Change(
        device="d", room="r", setting="enabled", as_found=True, wanted=False, source="s"
    )
    assert words.change_words(switch) == ("s: switch", "switched on", "switched off")
    setting = Change(device="d", room="r", setting="ptp_domain", as_found=0, wanted=127)
    assert words.change_words(setting) == ("ptp domain", "0", "127")


def test_every_grade_run_state_and_failure_has_words() -> None:
    """No state of anything is without words."""
    assert set(words.GRADES) == set(Grade)
    assert set(words.RUN_STATES) == set(RunState)
    assert set(words.FAILURES) == set(Failure)


def test_a_failure_gives_the_devices_words_and_the_doubt() -> None:
    """What the device said is in it, and that it may have landed all the same."""
    said = words.failure_words(Failed("s", Failure.REJECTED, "stream is sending", unsure=True))
    assert "stream is sending" in said
    assert "may have landed" in said
    assert "may have landed" not in words.failure_words(Failed("s", Failure.BUSY, ""))
