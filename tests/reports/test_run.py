"""How a run stands: silence first, then what failed, then what to do."""

import json
from collections.abc import Callable
from dataclasses import replace

from orchestrator.reports import run
from orchestrator.running.events import (
    Event,
    Failed,
    Failure,
    Finished,
    Intended,
    Paused,
    Sent,
)
from orchestrator.running.record import RunRecord
from orchestrator.running.view import RunState, run_lines

Make = Callable[..., tuple[Event, ...]]
FAILED = (
    Intended("s4"),
    Failed("s4", Failure.REJECTED, "stream is sending"),
    Paused("s4 failed"),
)


def test_silence_failure_and_the_way_on(record: RunRecord, done: Make) -> None:
    """A paused run says who is silent, what failed and why, and both ways on."""
    text = run.text(record, (*done(1, 2, 3), *FAILED), notes="/mnt/usb/notes.md")
    flat = " ".join(text.split())
    assert "Run 2026-11-25-1, Swap the programs of South and Booth: paused." in flat
    assert "news-booth-engine/program-1 is switched off; heard before by rack-node/output-1" in flat
    assert "the device refused the request: stream is sending" in flat
    assert "'cutsheet resume 2026-11-25-1'" in flat
    assert "'cutsheet undo 2026-11-25-1'" in flat
    assert "/mnt/usb/notes.md" in flat
    assert "3 of 14 steps are proved" in flat
    assert flat.index("Silent now") < flat.index("Failed -") < flat.index("What to do")
    assert max(map(len, text.splitlines())) <= 80


def test_doubt_says_it_is_either(record: RunRecord, done: Make) -> None:
    """A step in doubt gives both values, and the silence is not sure."""
    text = run.text(record, (*done(1), Intended("s3"), Sent("s3", False)))
    flat = " ".join(text.split())
    assert "In doubt" in flat
    assert "number 101 to 2990: it is either 101 or 2990" in flat
    unsure = run.text(record, (Intended("s1"), Sent("s1", False)))
    assert "studio-south-engine/program-1 may be off: nobody knows" in unsure
    save = run.text(record, (*done(2, 5), Intended("s6")))
    assert "either done or not" in " ".join(save.split())


def test_a_run_that_stopped_without_a_word_is_told_from_one_that_lives(
    record: RunRecord, done: Make
) -> None:
    """Only the lock tells the two apart."""
    assert "stopped without a word" in run.text(record, done(1))
    assert "running." in run.text(record, done(1), alive=True).splitlines()[0]
    assert "resume" not in run.text(record, done(1), alive=True)


def test_a_finished_run_may_be_adopted_or_undone(record: RunRecord) -> None:
    """Finished: adopt, or undo. An undo has nothing left to do."""
    text = run.text(record, (Finished(),))
    assert "cutsheet adopt" in text
    assert "cutsheet undo" in text
    assert "Nothing on this run's devices is silent" in text
    undo = run.text(replace(record, undoes="2026-11-24-1"), (Finished(),))
    assert "adopt" not in undo


def test_an_undone_run_is_not_called_silent(record: RunRecord, done: Make) -> None:
    """Where another run has taken it back, the silence of its own events is over."""
    text = run.text(record, done(1), state=RunState.UNDONE)
    assert "taken back" in text
    assert "is switched off" not in text
    assert "finish that run" in run.text(record, done(1), state=RunState.UNDOING)


def test_the_pause_is_why_only_while_it_lasts(done: Make) -> None:
    """The reason of an earlier pause is not given for a run that went on."""
    assert run.paused_because(FAILED) == "s4 failed"
    assert run.paused_because((*FAILED, *done(4))) is None
    assert run.paused_because(()) is None


def test_the_json_has_the_same(record: RunRecord, done: Make) -> None:
    """The document carries silence, failures, doubts and the states of the steps."""
    events = (*done(1, 2, 3), *FAILED[:2], Intended("s13"), FAILED[2])
    made = json.loads(json.dumps(run.as_json(record, events)))
    assert made["schema"] == "cutsheet/run/1"
    assert made["state"] == "paused"
    assert made["paused_because"] == "s4 failed"
    assert [quiet["device"] for quiet in made["silent"]] == [
        "studio-south-engine",
        "news-booth-engine",
    ]
    assert made["failed"][0]["why"] == "rejected"
    assert made["in_doubt"][0] == {
        "id": "s13",
        "device": "rack-node",
        "step": "set",
        "as_found": 0,
        "wanted": 127,
    }
    assert made["steps"][0] == {"id": "s1", "state": "proved"}
    assert (made["proved"], made["all"]) == (3, 14)


def test_the_list_of_runs_names_the_open_ones_first(record: RunRecord) -> None:
    """Runs that are not finished stand above the table; the latest run is its first row."""
    lines = run_lines(
        [
            (record, (Finished(),)),
            (replace(record, id="r2", title="Second"), (Paused("x"),)),
            (replace(record, id="r3", undoes="2026-11-25-1"), (Finished(),)),
        ]
    )
    text = run.runs_text(lines)
    assert text.splitlines()[0] == "Not finished: r2."
    assert text.index("r3 ") < text.rindex("r2 ") < text.index("2026-11-25-1")
    assert "undone by r3" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80
    assert run.runs_json(lines)["runs"][1]["state"] == "paused"
    assert run.runs_json(lines)["schema"] == "cutsheet/runs/1"
    assert "No run" in run.runs_text(())
