"""Whole jobs over real sockets: apply, adopt, undo, and all that can go wrong on the way.

The simulated devices and their referee know nothing of the tool: the referee judges each change
at the instant at which it happens, by the safety rules alone.
"""

import random
import re
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import yaml

from mocks.faults import Fault, Kind
from mocks.journal import Asked, Change
from orchestrator.ledger.store import ledger_path
from tests.cli.stage import (
    ANSWERS,
    APPLY,
    MISKEYED,
    NODES,
    PATIENCE_S,
    PROGRAMMES,
    REUSED,
    Stage,
    interrupt,
    staged,
)

NEWS, TALKS, SOUTH = "news-booth-engine", "talks-engine", "studio-south-engine"
SOUTH_IO = "studio-south-io"


@pytest.fixture(scope="module")
def applied(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stage]:
    """The whole example, applied; only to be looked at."""
    with staged(tmp_path_factory.mktemp("applied")) as stage:
        ended = stage.run(*APPLY)
        assert ended.status == 0, ended.out[-2000:] + ended.err
        yield stage


def test_the_whole_job_breaks_no_rule(applied: Stage) -> None:
    """All five playbooks at once: the run is finished and the referee has nothing to say."""
    assert [run["state"] for run in applied.runs()] == ["finished"]
    assert applied.referee.verdict().broken == ()


def test_applied_again_there_is_nothing_to_do(applied: Stage) -> None:
    """A second dry-run has no changes, a second apply sends no write, an audit is clean."""
    before = applied.writes()
    found = applied.run("dry-run", "--json")
    assert (found.status, found.json["changes"], found.json["sequence"]) == (0, [], [])
    assert applied.run(*APPLY).status == 0
    assert applied.run("audit", "--json").json["clean"] is True
    assert applied.writes() == before


def test_what_feeds_the_transmitter_is_never_silent(applied: Stage) -> None:
    """Nothing on air was off for a moment, and nothing was sent to what is off limits."""
    assert not [one for one in applied.referee.verdict().silences if one.on_air]
    assert applied.world.requests("alert-inserter") == 0


def test_adopted_the_plan_says_what_is_true(applied: Stage, tmp_path: Path) -> None:
    """The plan has the new numbers and addresses, keeps its comments, and nothing is to do."""
    folder = tmp_path / "adopted"
    shutil.copytree(applied.folder, folder)
    before = (folder / "plan.yaml").read_text(encoding="utf-8")
    stage = Stage.__new__(Stage)
    stage.folder, stage.map, stage.world = folder, applied.map, applied.world
    assert stage.run("adopt", stage.last()).status == 0
    text = (folder / "plan.yaml").read_text(encoding="utf-8")
    devices = yaml.safe_load(text)["devices"]
    assert devices["studio-south-engine"]["sources"]["program-1"]["number"] == 104
    assert devices["studio-north-mics"]["address"] == "127.44.3.36"
    assert devices["studio-north-engine"]["sources"]["program-1"]["number"] == 311
    assert _comments(before) <= _comments(text)
    assert stage.run("check").status == 0
    assert stage.run("dry-run", "--json").json["changes"] == []
    for playbook in (folder / "playbooks").iterdir():
        playbook.unlink()
    assert stage.run("audit", "--json").json["clean"] is True, "by the plan alone"


def _comments(text: str) -> set[str]:
    return {line.partition("#")[2].strip() for line in text.splitlines() if "#" in line}


def test_undone_all_is_as_before_but_the_mended_fault(tmp_path: Path) -> None:
    """The survey is the one before; the number held twice stays mended, and undo says so."""
    with staged(tmp_path) as stage:
        before = _survey(stage)
        assert stage.run(*APPLY).status == 0
        stage.referee.new_run()
        back = stage.run("undo", stage.last(), "--yes", *ANSWERS)
        assert back.status == 0, back.out[-2000:]
        assert "studio-south-returns/input-8 keeps its new number" in back.said
        assert stage.referee.verdict().broken == ()
        assert _different(before, _survey(stage)) == {"studio-south-returns/input-8"}
        assert [run["state"] for run in stage.runs()] == ["undone", "finished"]


def _survey(stage: Stage) -> dict[str, Any]:
    """All sources, destinations, settings and addresses that the devices tell of, by name."""
    found: dict[str, Any] = {}
    for device in stage.run("survey", "--json").json["devices"]:
        name = device["device"]
        found[name] = (device["at"], device["interfaces"], device["settings"], device["unsaved"])
        for kind in ("source", "destination"):
            found.update({f"{name}/{one[kind]}": one for one in device[f"{kind}s"]})
    return found


def _different(one: dict[str, Any], other: dict[str, Any]) -> set[str]:
    return {name for name in {**one, **other} if one.get(name) != other.get(name)}


# Killed.


class KillAt:
    """Kills a process at the instant at which a device has done the n-th write."""

    def __init__(self, process: Any, number: int) -> None:
        self._process, self._left = process, number

    def changed(self, change: Change) -> None:
        """Nothing to do."""

    def moved(self) -> None:
        """Nothing to do."""

    def asked(self, asked: Asked) -> None:
        """Count a write."""
        self._left -= asked.writes
        if self._left == 0 and asked.writes:
            self._process.kill()


def _finish(stage: Stage, faulty: str = "") -> None:
    """Resume the last run: it finishes, the target is reached, no rule was ever broken."""
    ended = stage.run("resume", *ANSWERS)
    assert ended.status == 0, ended.out[-2000:] + ended.err
    assert _broken(stage, faulty) == set()
    assert stage.target_reached()


def _broken(stage: Stage, faulty: str) -> set[str]:
    """What was broken by the tool.

    A device that loses its power before it has saved hears at once what it heard before; where
    another source is by then, no write did that, and none can prevent it any more.
    """
    restarts = {fault for asked in stage.world.log for fault in asked.faults if "reboot" in fault}
    of_the_cut = [one for one in stage.referee.verdict().broken if one.rule == "H8"]
    own = [one for one in of_the_cut if restarts and one.what.startswith(f"{faulty}/")]
    return {f"{one.rule}: {one.what}" for one in stage.referee.verdict().broken if one not in own}


@pytest.mark.parametrize("number", [1, *random.Random(1).sample(range(2, 40), 2)])
def test_killed_at_a_write(number: int, tmp_path: Path) -> None:
    """Killed when a write has landed and before its answer came: resume settles it by reading."""
    with (
        staged(tmp_path, PROGRAMMES, NODES, MISKEYED) as stage,
        stage.started(*APPLY) as process,
    ):
        stage.world.observe(KillAt(process, number))
        process.communicate(timeout=PATIENCE_S)
        assert process.returncode == -9
        assert stage.runs()[0]["state"] == "running"
        assert "stopped without a word" in stage.run("runs", stage.last()).said
        _finish(stage)


@pytest.mark.parametrize("number", random.Random(2).sample(range(1, 30), 2))
def test_killed_between_intent_and_write(number: int, tmp_path: Path) -> None:
    """Killed as soon as an intent is in the ledger: nothing is sent twice, nothing is left out."""
    with staged(tmp_path, PROGRAMMES) as stage, stage.started(*APPLY) as process:
        _wait_for_intents(ledger_path(stage.folder), number)
        process.kill()
        process.wait(PATIENCE_S)
        _finish(stage)


def _wait_for_intents(path: Path, number: int) -> None:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if path.exists():
            with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as ledger:
                try:
                    count = ledger.execute("SELECT count(*) FROM events WHERE kind = 'intended'")
                    if count.fetchone()[0] >= number:
                        return
                except sqlite3.OperationalError:
                    pass  # its tables are not made yet
        time.sleep(0.002)
    raise AssertionError(f"no {number} intents came")


def test_killed_then_undone(tmp_path: Path) -> None:
    """A run that was killed half-way can be taken back instead: the survey is the one before."""
    with staged(tmp_path, PROGRAMMES) as stage:
        before = _survey(stage)
        with stage.started(*APPLY) as process:
            stage.world.observe(KillAt(process, 12))
            process.communicate(timeout=PATIENCE_S)
        assert _different(before, _survey(stage))
        back = stage.run("undo", stage.last(), "--yes", *ANSWERS)
        assert back.status == 0, back.out[-2000:] + back.err
        assert stage.referee.verdict().broken == ()
        assert _different(before, _survey(stage)) == set()
        assert stage.runs()[0]["state"] == "undone"


def test_ctrl_c_pauses(tmp_path: Path) -> None:
    """The steps in hand finish, what is silent is told, and resume goes on."""
    with staged(tmp_path, PROGRAMMES) as stage, stage.started(*APPLY) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if line.startswith(" 5 of "):
                break
        said = interrupt(process)
        assert process.returncode == 1
        assert "Paused: stopped by the operator" in said
        run = stage.run("runs", stage.last(), "--json").json
        assert (run["state"], run["failed"], run["in_doubt"]) == ("paused", [], [])
        off = {f"{one['device']}/{one['source']}" for one in run["silent"] if "source" in one}
        assert off == _off_by(stage)
        assert off
        _finish(stage)


def _off_by(stage: Stage) -> set[str]:
    """The sources that are off now and were on at the start, by the plan's names."""
    names = {f"{SOUTH_IO}/1": f"{SOUTH_IO}/mixer"}
    silent = [one.source for one in stage.referee.verdict().silences if one.end is None]
    return {names.get(name, name) for name in silent}


# What goes wrong in the middle.


def test_a_move_that_a_power_cycle_took_back(tmp_path: Path) -> None:
    """A node that reboots before its new address is saved is found at the old one and moved."""
    with staged(tmp_path, NODES) as stage:
        mics = "news-booth-mics"
        stage.world.add_fault(mics, Fault(Kind.REBOOT_BEFORE, method="POST", seconds=0.3))
        assert stage.run(*APPLY).status == 1
        assert stage.now(mics).lan.address == "127.44.3.36"
        first = stage.run("resume", *ANSWERS)
        assert first.status == 1, "its sources are on again: that has to be seen before it moves"
        assert "is on, not off as this run had set it" in first.said
        _finish(stage)
        assert stage.now(mics).lan.address == "127.44.3.56"


def test_a_stranger_in_mid_run(tmp_path: Path) -> None:
    """A device that suddenly gives another serial is written nothing more; the rest goes on."""
    with staged(tmp_path, PROGRAMMES) as stage:
        stranger = Fault(Kind.WRONG_IDENTITY, path="/unit", nth=8, always=True, serial="CV-99999")
        stage.world.add_fault(NEWS, stranger)
        ended = stage.run(*APPLY)
        assert ended.status == 1
        assert "CV-99999" in ended.said
        asked = [one for one in stage.world.log if one.device == NEWS]
        struck = next(place for place, one in enumerate(asked) if one.faults)
        assert not [one for one in asked[struck:] if one.writes]
        stage.world.clear_faults(NEWS)
        _finish(stage)


def test_another_hand_in_mid_run(tmp_path: Path) -> None:
    """What somebody else changed between survey and write is told, twice, and not overwritten."""
    with staged(tmp_path, PROGRAMMES) as stage:
        other = stage.world.another_hand(TALKS)
        meddle = Fault(
            Kind.CALL, method="PATCH", do=lambda: other.set_source("program-1", number=119)
        )
        stage.world.add_fault(NEWS, meddle)
        ended = stage.run(*APPLY)
        assert ended.status == 1
        assert "program-1 is number 119, and should be number 111 now" in ended.said
        ended = stage.run("resume", *ANSWERS, "--accept", "not-clean:1=let it try all the same")
        assert ended.status == 1
        run = stage.run("runs", stage.last(), "--json").json
        assert {(one["device"], one["why"]) for one in run["failed"]} == {(TALKS, "other_hand")}
        assert stage.now(TALKS).sources["program-1"].number == 119
        other.set_source("program-1", number=111)
        _finish(stage)


def test_two_at_once(tmp_path: Path) -> None:
    """While one applies, a second is refused, names the first, and writes nothing."""
    with staged(tmp_path, PROGRAMMES) as stage, stage.started(*APPLY) as process:
        _wait_for_intents(ledger_path(stage.folder), 1)
        # The first is not done before the second has looked: its devices take their time.
        stage.world.add_fault(NEWS, Fault(Kind.DELAY, seconds=0.25, always=True))
        second = stage.run(*APPLY, "--title", "The second")
        assert second.status == 2
        assert "The second" not in str(stage.runs())
        assert f"(process {process.pid})" in second.said
        assert f"run {stage.last()} by" in second.said
        stage.world.clear_faults(NEWS)
        process.communicate(timeout=PATIENCE_S)
        assert process.returncode == 0
        assert len(stage.runs()) == 1
        assert stage.referee.verdict().broken == ()


def test_a_unit_joins_from_the_bench(tmp_path: Path) -> None:
    """A reused unit is killed half-way to the facility and finished: it never brings its old life.

    Its saved state is its running state in the end, so a power cut brings nothing back.
    """
    with (
        staged(tmp_path, PROGRAMMES, REUSED) as stage,
        stage.started(*APPLY) as process,
    ):
        stage.world.observe(KillAt(process, 45))
        process.communicate(timeout=PATIENCE_S)
        _finish(stage)
        unit = stage.world.machine("talks-io").memory
        assert unit.running == unit.saved
        assert unit.running.lan.address == "127.44.3.22"


def test_progress_counts_up(tmp_path: Path) -> None:
    """Each step is told once, in order, and the last is the whole."""
    with staged(tmp_path, NODES) as stage:
        out = stage.run(*APPLY).out
        counts = [int(found) for found in re.findall(r"^ *(\d+) of 25  ", out, re.MULTILINE)]
        assert (counts[0], counts[-1]) == (1, 25)
        assert all(second == first + 1 for first, second in pairwise(counts))
