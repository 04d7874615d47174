"""The commands about runs."""

from pathlib import Path

import pytest

from mocks.faults import Fault, Kind
from orchestrator.cli.history import last_unfinished
from orchestrator.errors import CallError
from tests.cli.stage import ANSWERS, APPLY, Stage, cutsheet, facility


def test_no_run_yet(tmp_path: Path) -> None:
    """A facility without a run says so; asking for one is a wrong call."""
    folder = str(facility(tmp_path / "facility"))
    assert cutsheet("runs", "--facility", folder).out == "No run has been made here.\n"
    for call in (["runs", "r1"], ["rollback-notes", "r1"], ["adopt", "r1"]):
        ended = cutsheet(*call, "--facility", folder)
        assert (ended.status, ended.out) == (2, "")
        assert "fix:" in ended.err


def test_a_run_from_pause_to_adoption(small: Stage) -> None:
    """The list, one run, its notes and its adoption agree on how it stands."""
    small.world.add_fault("talks-engine", Fault(Kind.REFUSE, method="PATCH", always=True))
    assert small.run(*APPLY).status == 1
    run = small.last()
    assert last_unfinished(small.folder) == run
    assert f"Not finished: {run}." in small.run("runs").out
    shown = small.run("runs", run)
    assert shown.status == 0
    assert shown.out.index("Silent now") < shown.out.index("Failed")
    assert f"cutsheet resume {run}" in shown.said
    paused = small.run("rollback-notes", run).out
    assert paused == (small.folder / "runs" / run / "rollback-notes.md").read_text(encoding="utf-8")
    too_early = small.run("adopt", run)
    assert too_early.status == 2
    assert "paused" in too_early.err
    small.world.clear_faults("talks-engine")
    without = small.run("resume", *ANSWERS, CUTSHEET_CREDENTIAL_CORVID_UNITS="")
    assert without.status == 2
    assert without.err.count("corvid-units") == 1
    assert small.runs()[0]["state"] == "paused", "nothing was begun"
    assert small.run("resume", *ANSWERS).status == 0
    with pytest.raises(CallError, match="no run is unfinished"):
        last_unfinished(small.folder)
    assert small.run("adopt", run).status == 0
    assert small.run("adopt", run).status == 0, "twice changes nothing"
    assert small.run("check").status == 0


def test_the_table_fits(small: Stage) -> None:
    """One line a run, with the minute at which it was made."""
    small.run(*APPLY)
    lines = small.run("runs").out.splitlines()
    assert len(lines) == 3
    made = small.run("runs", "--json").json["runs"][0]["made_at"]
    assert f"  {made[:10]} {made[11:16]}  " in lines[2]


def test_two_unfinished_runs_have_to_be_told_apart(small: Stage) -> None:
    """Undone half-way there are two: resume asks which."""
    fault = Fault(Kind.REFUSE, method="PATCH", always=True)
    small.world.add_fault("talks-engine", fault)
    assert small.run(*APPLY).status == 1
    small.world.clear_faults("talks-engine")
    small.world.add_fault("news-booth-engine", fault)
    assert small.run("undo", small.last(), "--yes", *ANSWERS).status == 1
    states = {one["state"] for one in small.runs()}
    assert states == {"undoing", "paused"}
    small.world.clear_faults("news-booth-engine")
    ended = small.run("resume", *ANSWERS)
    if ended.status == 2:
        assert "more than one run is unfinished" in ended.err
        assert small.run("resume", small.last(), *ANSWERS).status == 0
    assert [one["state"] for one in small.runs()] == ["undone", "finished"]
    assert small.referee.verdict().broken == ()
