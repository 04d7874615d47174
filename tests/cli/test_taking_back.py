"""Undo and take-room-back over sockets, when not all goes well."""

import re

import pytest

from mocks.faults import Fault, Kind
from tests.cli.stage import ANSWERS, APPLY, Stage
from tests.cli.terminal import at_terminal

TALKS, RACK = "talks-engine", "rack-codec"
PROGRAM = "/streams/program-1"
TRANSIT = 2990


def running(stage: Stage) -> dict[str, object]:
    """What runs on every device."""
    return {name: stage.now(name) for name in stage.world.names}


def test_a_room_is_taken_back_in_the_same_sitting(small: Stage) -> None:
    """A step in it is refused for good: it is as before, and nothing anywhere is half-way."""
    before = {name: stage_sources(small, name) for name in small.world.names}
    refuse = Fault(Kind.SIGN_IN, method="PATCH", path=PROGRAM, nth=2, status=403)
    small.world.add_fault(TALKS, refuse)
    ended = small.run(*APPLY, "--after-failure", "take-room-back")
    assert ended.status == 1
    assert "Taking back talks, as the terms of the run say" in ended.said
    assert small.referee.verdict().broken == ()
    assert [run["state"] for run in small.runs()] == ["partly_undone", "finished"]
    run = small.runs()[0]["id"]
    assert stage_sources(small, TALKS) == before[TALKS]
    assert stage_sources(small, "studio-south-engine")["program-1"] == (104, True), "it was done"
    for name, sources in before.items():
        for source, (_, enabled) in sources.items():
            number, on = stage_sources(small, name)[source]
            assert on == enabled, (name, source)
            assert number is None or number < TRANSIT, (name, source)
    heard = small.now("studio-south-engine").destinations["codec-2"]
    assert heard.number == 111, "its listeners are back where it is"
    assert "undone in part" in small.run("runs", run).said
    assert small.run("resume", run, *ANSWERS).status == 2, "it does not go on any more"
    assert small.run(*APPLY).status == 0, "what is still wanted is planned anew"
    assert small.target_reached()


def test_the_rest_is_taken_back_after_the_room(small: Stage) -> None:
    """By one undo more, after which everything runs as before; nobody is heard who was not."""
    before = running(small)
    refuse = Fault(Kind.SIGN_IN, method="PATCH", path=PROGRAM, nth=2, status=403)
    small.world.add_fault(TALKS, refuse)
    assert small.run(*APPLY, "--after-failure", "take-room-back").status == 1
    run = small.runs()[0]["id"]
    assert running(small) != before
    rest = small.run("undo", run, "--yes", *ANSWERS)
    assert rest.status == 0, rest.said[-1500:]
    assert running(small) == before
    assert small.referee.verdict().broken == ()
    assert [one["state"] for one in small.runs()] == ["undone", "finished", "finished"]


def test_a_room_with_a_dead_device_says_what_is_left(small: Stage) -> None:
    """It can't be reached, so nothing more is written without a name; the run stays paused."""
    small.world.add_fault(TALKS, Fault(Kind.REFUSE, method="PATCH", always=True))
    ended = small.run(*APPLY, "--after-failure", "take-room-back")
    assert ended.status == 1
    assert "It can't be taken back like that; the run stays paused." in ended.said
    assert f"unreached:{TALKS}" in ended.said
    assert [run["state"] for run in small.runs()] == ["paused"]
    small.world.clear_faults(TALKS)
    assert small.run("resume", *ANSWERS).status == 0
    assert small.referee.verdict().broken == ()


def stage_sources(stage: Stage, name: str) -> dict[str, tuple[int | None, bool]]:
    """Number and switch of every source of a device."""
    return {key: (one.number, one.enabled) for key, one in stage.now(name).sources.items()}


def test_undo_without_a_device(small: Stage) -> None:
    """It is named and asked about; the rest goes back; once it answers, undo takes it back too."""
    before = running(small)
    assert small.run(*APPLY).status == 0
    run = small.last()
    small.referee.new_run()
    small.world.pull_cable(RACK)
    refused = small.run("undo", run, "--yes", *ANSWERS)
    assert refused.status == 1
    assert f"unreached:{RACK}" in refused.said
    assert f"cutsheet rollback-notes {run}" in refused.said
    names = (f"unreached:{RACK}", f"listener:{RACK}/output-2", f"listener:{RACK}/output-1")
    accepts = [part for name in names for part in ("--accept", f"{name}=by hand, M. O.")]
    rest = small.run("undo", run, "--yes", *ANSWERS, *accepts)
    assert rest.status == 0, rest.said[-1500:]
    assert [one["state"] for one in small.runs()] == ["partly_undone", "finished"]
    small.world.plug_in(RACK)
    beside = small.run("dry-run")
    assert f"unfinished:{run}" in beside.said, "the device that is left belongs to the run"
    again = small.run("undo", run, "--yes", *ANSWERS)
    assert again.status == 0, again.said[-1500:]
    assert running(small) == before
    assert [one["state"] for one in small.runs()] == ["undone", "finished", "finished"]


def test_another_hands_value_is_asked_about_at_the_keyboard(small: Stage) -> None:
    """A no leaves everything; a yes puts it back, and who said so is in the ledger."""
    assert small.run(*APPLY).status == 0
    run, writes = small.last(), small.writes()
    small.world.another_hand(TALKS).set_source("program-1", number=119)
    name = f"changed-since:{TALKS}/program-1:renumber"
    with at_terminal(small, "undo", run) as terminal:
        terminal.answers(name, "no")
        assert terminal.ends() == 1
    assert small.writes() == writes
    with at_terminal(small, "undo", run) as terminal:
        terminal.answers(name)
        terminal.wait_for("Do these")
        terminal.types("y")
        for question in ("who-is-on-air", "monitors-down", "alert-chain", "go:1"):
            terminal.answers(question)
        assert terminal.ends() == 0, terminal.shown
    assert small.now(TALKS).sources["program-1"].number == 111
    assert re.search(
        f"{name}: go,.* accepted at the keyboard", small.run("runs", small.last()).said
    )


@pytest.mark.parametrize("policy", ["take-room-back"])
def test_an_undo_is_not_itself_taken_back(policy: str, small: Stage) -> None:
    """That would lead nowhere."""
    assert small.run(*APPLY).status == 0
    ended = small.run("undo", small.last(), "--after-failure", policy)
    assert ended.status == 2
    assert "not itself taken back" in ended.err
