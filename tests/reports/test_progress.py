"""One line for each step as it is done."""

import io
from collections.abc import Callable

import pytest

from orchestrator.reports.progress import Progress
from orchestrator.running.events import (
    Answered,
    Asked,
    Event,
    Failed,
    Failure,
    Finished,
    Intended,
    Paused,
    Proved,
    Resumed,
    Sent,
)
from orchestrator.running.protocols import Reporter
from orchestrator.running.record import RunRecord

Make = Callable[..., tuple[Event, ...]]


def told(record: RunRecord, events: tuple[Event, ...], before: tuple[Event, ...] = ()) -> str:
    """What is written while the events happen."""
    stream = io.StringIO()
    reporter: Reporter = Progress(record, stream, before)
    for event in events:
        reporter.stored(event)
    return stream.getvalue()


def test_a_step_done_is_one_line_with_its_count(record: RunRecord, done: Make) -> None:
    """Only the proof of a step counts it, and transit is marked."""
    assert told(record, done(1, 3)).splitlines() == [
        " 1 of 14  studio-south-engine/program-1: switch off",
        " 2 of 14  studio-south-engine/program-1: number 101 to 2990 (transit)",
    ]


def test_a_resumed_run_counts_on(record: RunRecord, done: Make) -> None:
    """Steps proved before the resume are in the count; one proved again counts once."""
    said = told(record, (Resumed(), *done(2, 1)), before=done(1))
    assert "2 of 14  news-booth-engine" in said
    assert said.splitlines()[-1].startswith(" 2 of 14")


def test_what_was_so_already_is_said(record: RunRecord) -> None:
    """A step that needed no write says so."""
    assert "as it was already" in told(record, (Proved("s1", already=True),))


def test_failures_and_doubts_are_said_with_the_devices_words(record: RunRecord) -> None:
    """A failure names the step and why; a lost answer is told at once."""
    said = " ".join(
        told(
            record,
            (Sent("s1", False), Failed("s1", Failure.UNKNOWN, "timed out", unsure=True)),
        ).split()
    )
    assert "unsure studio-south-engine/program-1: switch off: no answer" in said
    assert "FAILED studio-south-engine/program-1: switch off" in said
    assert "timed out" in said


def test_a_step_that_failed_after_its_proof_no_longer_counts(record: RunRecord, done: Make) -> None:
    """A readdress undone by its confirm is taken out of the count."""
    said = told(record, (*done(9), Failed("s9", Failure.NOT_DONE, ""), *done(1)))
    assert said.splitlines()[-1].startswith(" 1 of 14")


@pytest.mark.parametrize(
    ("event", "part"),
    [
        (Answered("go:1", go=True, by="K. Aro"), "go:1: go (said by K. Aro)"),
        (Answered("go:1", go=False), "go:1: no-go"),
        (Paused("s4 failed"), "Paused: s4 failed"),
        (Resumed(), "Going on"),
        (Finished(), "Finished"),
    ],
)
def test_what_happens_to_the_run_is_a_line(record: RunRecord, event: Event, part: str) -> None:
    """Answers, pauses, resumes and the end are told."""
    assert part in told(record, (event,))


def test_nothing_is_said_where_nothing_is_done(record: RunRecord) -> None:
    """Intents, accepted writes, questions and steps of another sequence write no line."""
    quiet = (Intended("s1"), Sent("s1", True), Asked("go:1"), Proved("of another run"))
    assert told(record, quiet) == ""


def test_starts_are_told_when_asked_for(record: RunRecord) -> None:
    """With starts a step's beginning is a line, else it is none."""
    stream = io.StringIO()
    Progress(record, stream).step_started(record.sequence.steps[0])
    assert stream.getvalue() == ""
    Progress(record, stream, starts=True).step_started(record.sequence.steps[0])
    assert stream.getvalue() == "begun     studio-south-engine/program-1: switch off\n"


def test_lines_fit(record: RunRecord, done: Make) -> None:
    """No line is wider than 80 columns."""
    events = (*done(*range(1, 15)), Failed("s9", Failure.REJECTED, "x" * 200), Paused("y " * 90))
    assert max(map(len, told(record, events).splitlines())) <= 80
