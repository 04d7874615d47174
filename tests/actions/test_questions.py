"""The questions of safety."""

from orchestrator.actions.questions import BEFORE_THE_FIRST_WRITE, go_questions
from orchestrator.facility.step import Phase, Sequence
from tests.running.made_up import SEQUENCE


def test_before_the_first_write() -> None:
    """On air, hearing, and the alert and transmitter chains: each with its caution and a question.

    Which they are is common practice; no source.
    """
    assert set(BEFORE_THE_FIRST_WRITE) == {"who-is-on-air", "monitors-down", "alert-chain"}
    for text in BEFORE_THE_FIRST_WRITE.values():
        assert len(text) >= 3
        assert text[-1].endswith("?")
    assert "Headphones off" in " ".join(BEFORE_THE_FIRST_WRITE["monitors-down"])
    assert "licensee" in " ".join(BEFORE_THE_FIRST_WRITE["alert-chain"])


def test_one_before_each_phase_but_the_first() -> None:
    """It names the phase, its rooms, its steps and what it silences."""
    assert set(go_questions(SEQUENCE)) == {1}
    text = go_questions(SEQUENCE)[1]
    assert text[0] == "Go or no-go: phase 2 of 2, bench"
    assert "It has 5 steps." in text[1]
    assert text[2].endswith("for a time: 1.")
    assert "last moment to turn back" in text[3]


def test_no_phases_no_question() -> None:
    """One phase needs no point between."""
    assert go_questions(Sequence(steps=(), phases=(Phase(("rack",)),))) == {}
