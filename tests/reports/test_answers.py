"""Who answered what, and when."""

from datetime import UTC, datetime

from orchestrator.reports.answers import answer_lines, answers_json
from orchestrator.running.events import Agreed, Answered, Asked, Event
from orchestrator.running.terms import AfterFailure, Terms

AT = datetime(2026, 3, 1, 2, 5, 7, tzinfo=UTC)
TIMELINE: list[tuple[datetime, Event]] = [
    (AT, Asked("who-is-on-air")),
    (AT, Answered("who-is-on-air", go=True, by="M. Okafor")),
    (AT, Answered("go:1", go=False)),
]


def test_for_people() -> None:
    """The question, the answer, who gave it, and the minute with its offset."""
    assert answer_lines(TIMELINE)[-2:] == [
        "who-is-on-air: go, M. Okafor, 2026-03-01 02:05+00:00",
        "go:1: no-go, 2026-03-01 02:05+00:00",
    ]
    assert answer_lines([]) == []


def test_terms_given_at_a_resume_stand_there_too() -> None:
    """From when the run goes on them, and what they say."""
    terms = Terms(after_failure=AfterFailure.HOLD_ALL, soak_s=60)
    told = " ".join(" ".join(answer_lines([(AT, Agreed(terms))])).split())
    assert "on these terms from 2026-03-01 02:05+00:00: After a failure: nothing more" in told
    assert "watched for 60 s" in told or "watched for 1" in told


def test_for_programs() -> None:
    """The same, whole."""
    assert answers_json(TIMELINE)[0] == {
        "question": "who-is-on-air",
        "go": True,
        "by": "M. Okafor",
        "at": "2026-03-01T02:05:07+00:00",
    }
