"""The questions of safety."""

from dataclasses import replace
from datetime import datetime

from orchestrator.actions.questions import BEFORE_THE_FIRST_WRITE, go_questions
from orchestrator.facility.step import Phase
from orchestrator.running.gate import Facts
from orchestrator.running.window import Window, limits
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


WINDOW = Window(
    opens="2026-10-25T00:00:00+01:00", closes="2026-10-25T03:00:00+00:00", zone="Atlantic/Faroe"
)


def test_a_go_no_go_says_what_is_known() -> None:
    """The phase, its rooms, its steps, what it silences; what was looked at, and for how long."""
    text = go_questions(SEQUENCE)(Facts(phase=1, soaked_s=600))
    assert text[0] == "Go or no-go: phase 2 of 2, bench"
    assert "read anew, for 10 min: all is as it should be" in text[1]
    assert text[2] == "It has 5 steps. Sources that it switches off for a time: 1."
    assert "last moment to turn back" in text[3]
    assert text[-1].endswith("?")


def test_what_is_not_clean_is_asked_about_by_itself() -> None:
    """Every finding is shown, and nothing of a go; what was accepted is shown at the go."""
    text = go_questions(SEQUENCE)(Facts(phase=1, findings=("node does not answer",)))
    assert text[0] == "Before phase 2: not all is as it should be."
    assert "- node does not answer" in text
    later = go_questions(SEQUENCE)(Facts(phase=1, accepted=("node does not answer",)))
    assert "accepted as it is: node does not answer" in later[1]


def test_many_findings_are_counted() -> None:
    """A screen full, and how many more."""
    text = go_questions(SEQUENCE)(Facts(phase=1, findings=tuple(map(str, range(20)))))
    assert "and 8 more" in text


def test_what_a_split_leaves_silent_is_said() -> None:
    """As it was accepted, at the point over which it is silent."""
    split = replace(SEQUENCE, phases=(SEQUENCE.phases[0], Phase(("bench",), ("a/s on 2990",))))
    assert "Over this point, as accepted: a/s on 2990." in go_questions(split)(Facts(phase=1))


def test_the_last_time_to_turn_back_is_on_the_screen() -> None:
    """In the window's zone, with the offset where the clocks change in it."""
    lengths = (600.0, 300.0)
    at = datetime.fromisoformat("2026-10-25T00:30:00+00:00")
    facts = Facts(phase=1, at=at, limits=limits(WINDOW, lengths, 1))
    text = go_questions(SEQUENCE, WINDOW, lengths)(facts)
    assert text[3] == "It is 01:30 (UTC+01:00). To turn back from here, begin by 02:35 (UTC+00:00)."
    assert "start it by 02:25 (UTC+00:00)" in text[4]
    assert "the last time to turn back is 02:30 (UTC+00:00)." in text[4]
