"""What a disk or another program does to the ledger is told, loses nothing, and writes nothing.

Each message says what is wrong, where, and the fix; no device is written to.
"""

import os
import resource
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from mocks.journal import Asked, Change
from orchestrator.ledger.store import ledger_path
from tests.cli.stage import ANSWERS, APPLY, NODES, PATIENCE_S, Ended, Stage, staged
from tests.ledger.test_store import as_nobody

SMALL = 2 * 1024 * 1024


def refused(stage: Stage, ended: Ended, *words: str) -> None:
    """The command left with a message that says so, and nothing reached a device."""
    assert ended.status == 2, ended.out[-1000:] + ended.err
    for word in (*words, "fix:"):
        assert word in ended.said
    assert "fault of the tool" not in ended.said
    assert stage.writes() == 0


@contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """A disk of two mebibytes, where this user may mount one."""
    place = folder / "disk"
    place.mkdir()
    call = ["mount", "-t", "tmpfs", "-o", f"size={SMALL}", "cutsheet-test", str(place)]
    try:
        made = subprocess.run(call, check=False, capture_output=True, text=True)
    except FileNotFoundError:
        pytest.skip("there is no mount command here")
    if made.returncode:
        pytest.skip(f"no small disk can be mounted here: {made.stderr.strip()}")
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def fill(place: Path, leave: int = 0) -> Path:
    """Fill the disk but for ``leave`` bytes; the file to delete for room."""
    filler = place / "filler"
    with filler.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(b"x" * 4096)
        except OSError:
            pass
    os.truncate(filler, max(0, filler.stat().st_size - leave))
    return filler


class FullAt:
    """Fills the disk at the instant at which the n-th write has reached a device."""

    def __init__(self, place: Path, number: int) -> None:
        self._place, self._left = place, number

    def changed(self, change: Change) -> None:
        """Nothing to do."""

    def moved(self) -> None:
        """Nothing to do."""

    def asked(self, asked: Asked) -> None:
        """Count a write."""
        self._left -= asked.writes
        if self._left == 0 and asked.writes:
            fill(self._place)


def test_a_disk_that_is_full_from_the_start(tmp_path: Path) -> None:
    """No run is made; with room again the same command does the job."""
    with small_disk(tmp_path) as place, staged(place, NODES) as stage:
        filler = fill(place, leave=8192)
        refused(stage, stage.run(*APPLY), str(stage.folder))
        filler.unlink()
        assert stage.runs() == []
        assert stage.run(*APPLY).status == 0


def test_a_disk_that_fills_in_mid_run(tmp_path: Path) -> None:
    """What was recorded is there, no further step is begun, and resume finishes the run."""
    with small_disk(tmp_path) as place, staged(place, NODES) as stage:
        stage.world.observe(FullAt(place, 5))
        ended = stage.run(*APPLY)
        assert ended.status in (1, 2), ended.out[-1000:]
        assert "No space left" in ended.said or "disk is full" in ended.said
        assert "fault of the tool" not in ended.said
        (place / "filler").unlink()
        stage.world.observe(full := FullAt(place, -1))
        run = stage.run("runs", stage.last(), "--json").json
        assert run["state"] in ("running", "paused")
        assert stage.run("resume", *ANSWERS).status == 0
        assert stage.referee.verdict().broken == ()
        assert stage.target_reached()
        stage.world.forget(full)


def test_a_limit_on_the_size_of_files(tmp_path: Path) -> None:
    """Where files may not grow (RLIMIT_FSIZE, getrlimit(2)), the run stops in words."""
    with staged(tmp_path, NODES) as stage:
        with stage.started(*APPLY) as process:
            assert process.stdout is not None
            for line in process.stdout:
                if line.startswith(" 3 of "):
                    break
            sizes = [path.stat().st_size for path in ledger_path(stage.folder).parent.iterdir()]
            resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (max(sizes), max(sizes)))
            out, _ = process.communicate(timeout=PATIENCE_S)
        assert process.returncode in (1, 2), out[-1000:]
        assert "fault of the tool" not in out
        assert "Traceback" not in out
        assert stage.run("resume", *ANSWERS).status == 0
        assert stage.referee.verdict().broken == ()


def test_a_folder_that_may_only_be_read() -> None:
    """What, where and the right that is missing."""
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        top.chmod(0o755)
        with staged(top, NODES) as stage:
            stage.folder.chmod(0o555)
            with as_nobody():
                ended = stage.run(*APPLY)
            refused(stage, ended, "runs/lock", "Permission denied", "right to write")
            stage.folder.chmod(0o755)


def test_runs_are_shown_where_nothing_may_be_written() -> None:
    """Also those that a process left in the log when it died, and where there is no run yet."""
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        top.chmod(0o755)
        with staged(top, NODES) as stage:
            places = (stage.folder, stage.folder / "runs")
            stage.folder.chmod(0o555)
            with as_nobody():
                assert stage.run("runs", "--json").json["runs"] == []
            stage.folder.chmod(0o755)
            assert stage.run(*APPLY).status == 0
            for place in places:
                place.chmod(0o555)
            with as_nobody():
                run = stage.last()
                assert stage.run("runs", run, "--json").json["state"] == "finished"
                assert stage.run("rollback-notes", run).status == 0
                assert stage.run("undo", run, "--dry-run").status == 1
                assert stage.run("dry-run").status == 0
            for place in places:
                place.chmod(0o755)


def test_a_ledger_that_another_program_holds(tmp_path: Path) -> None:
    """It waits for some seconds, then says so; when the program has let go, all is well."""
    with staged(tmp_path, NODES) as stage:
        assert stage.run("runs").status == 0
        with closing(sqlite3.connect(ledger_path(stage.folder), isolation_level=None)) as other:
            other.execute("BEGIN EXCLUSIVE")
            refused(stage, stage.run(*APPLY), "held by another program", "close the program")
        assert stage.run(*APPLY).status == 0


@pytest.mark.parametrize("part", [0.0, 0.4, 0.97])
def test_a_ledger_that_was_cut_short(tmp_path: Path, part: float) -> None:
    """It is told, left as it is for whoever can save it, and no device is written to."""
    with staged(tmp_path, NODES) as stage:
        assert stage.run("runs").status == 0
        path = ledger_path(stage.folder)
        cut = path.read_bytes()[: int(path.stat().st_size * part) // 512 * 512]
        path.write_bytes(cut)
        for command in (("dry-run",), APPLY, ("resume", *ANSWERS), ("runs",)):
            refused(stage, stage.run(*command), str(path), "is damaged", "put a copy")
            assert path.read_bytes() == cut
        shutil.rmtree(path.parent)
        assert stage.run("dry-run").status == 1
