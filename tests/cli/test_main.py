"""The command itself: its help, its version, and how errors leave it."""

import os
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer import Typer

from orchestrator import __version__
from orchestrator.cli import look, main
from orchestrator.cli.main import app
from tests.cli.stage import Stage, cutsheet, facility, interrupt
from tests.example import FACILITY, ROOT

GROUPS = {group.name or "": group.typer_instance or app for group in app.registered_groups}


def _names(of: Typer) -> list[str]:
    """The commands of ``of``: by the name given, or else the function's."""
    return [
        command.name or command.callback.__name__
        for command in of.registered_commands
        if command.callback is not None
    ]


COMMANDS = [
    [],
    *([name] for name in (*_names(app), *GROUPS)),
    *([group, name] for group, of in GROUPS.items() for name in _names(of)),
]


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_help(command: list[str]) -> None:
    """Help fits 80 columns, has no word of the workshop, and names the exit statuses."""
    shown = cutsheet(*command, "--help")
    assert shown.status == 0
    assert max(map(len, shown.out.splitlines())) <= 80
    assert not [word for word in ("adapter", "dialect", "orchestrator") if word in shown.said]
    assert shown.said.startswith("Usage: cutsheet")
    if " ".join(command) not in GROUPS:
        assert "Exit status: 0" in shown.said


def test_version() -> None:
    """The version is the package's."""
    assert cutsheet("--version").out == f"cutsheet {__version__}\n"


@pytest.mark.parametrize(
    "arguments",
    [["no-such"], ["dry-run", "--width", "0"], ["schema", "poem"], ["undo"], ["--no-such"]],
)
def test_a_wrong_call(arguments: list[str]) -> None:
    """Exit status 2, said in words to standard error, without a traceback."""
    ended = cutsheet(*arguments)
    assert (ended.status, ended.out) == (2, "")
    assert ended.err
    assert "Traceback" not in ended.err


def test_no_facility(tmp_path: Path) -> None:
    """A folder without a plan is a wrong call, and the fix is told."""
    ended = cutsheet("check", "--facility", str(tmp_path))
    assert ended.status == 2
    assert "plan.yaml" in ended.err
    assert "fix:" in ended.err


def test_an_error_as_json() -> None:
    """With --json an error is a document of its own on standard output."""
    ended = cutsheet("runs", "no-such", "--json", "--facility", str(FACILITY))
    assert ended.status == 2
    assert ended.json["schema"] == "cutsheet/error/1"
    assert ended.json["fix"]


def test_a_fault_of_the_tool(monkeypatch: pytest.MonkeyPatch) -> None:
    """It shows no traceback, and says how to get one."""

    def broken(_: Path) -> Path:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr(look, "find_folder", broken)
    ended = cutsheet("check")
    assert ended.status == 2
    assert "a fault of the tool itself: ZeroDivisionError: a bug" in ended.err
    assert "Traceback" not in ended.err
    with pytest.raises(ZeroDivisionError):
        cutsheet("check", CUTSHEET_RAISE="1")


def test_ctrl_c_outside_a_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """It stops without a traceback."""

    def pressed(_: Path) -> Path:
        raise KeyboardInterrupt

    monkeypatch.setattr(look, "find_folder", pressed)
    ended = cutsheet("check")
    assert ended.status == 1
    assert "Stopped by Ctrl-C" in ended.err
    assert "Traceback" not in ended.err


def test_ctrl_c_while_a_window_is_waited_for(small: Stage) -> None:
    """Its status is one of those in the table; nothing was asked of a device."""
    opens = datetime.now(UTC) + timedelta(hours=2)
    times = (opens, opens + timedelta(hours=4))
    window = "/".join(each.replace(tzinfo=None).isoformat(timespec="minutes") for each in times)
    plan = small.folder / "plan.yaml"
    text = re.sub(r"^time_zone: .*\n", "", plan.read_text(encoding="utf-8"), flags=re.MULTILINE)
    plan.write_text(f"time_zone: UTC\n{text}", encoding="utf-8")
    with small.started("apply", "--window", window) as process:
        assert process.stdout is not None
        while "Ctrl-C ends it" not in process.stdout.readline():
            assert process.poll() is None
        said = interrupt(process)
    assert process.returncode == 1
    assert "Stopped by Ctrl-C" in said
    assert small.world.log == ()


def _process(*arguments: str) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-m", "orchestrator.cli.main", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def test_whoever_reads_has_gone() -> None:
    """A broken pipe ends it quietly: no traceback, and no word from Python at its exit."""
    with _process("schema", "plan") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(20) != 0


def test_as_a_process(tmp_path: Path) -> None:
    """The real command checks the example and leaves with its status."""
    folder = facility(tmp_path / "facility")
    with _process("check", "--facility", str(folder)) as process:
        out, err = process.communicate(timeout=20)
    assert (process.returncode, err) == (0, b"")
    assert b"nothing wrong in the documents" in out
    (folder / "plan.yaml").write_text("facility: [", encoding="utf-8")
    with _process("check", "--facility", str(folder)) as process:
        out, err = process.communicate(timeout=20)
    assert (process.returncode, out) == (3, b"")
    assert b"Traceback" not in err


def test_statuses_are_those_of_the_help(small: Stage, tmp_path: Path) -> None:
    """Each of the five exit statuses comes of a real case."""
    assert small.run("check").status == 0
    assert small.run("dry-run").status == 1
    assert small.run("dry-run", "--room", "no-such-room").status == 2
    assert small.run("survey").status == 4
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "plan.yaml").write_text("rooms: {}\n", encoding="utf-8")
    assert cutsheet("check", "--facility", str(broken)).status == 3


def test_the_entry_point_is_the_one_of_the_package() -> None:
    """What is installed as ``cutsheet`` is what these tests run."""
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert 'cutsheet = "orchestrator.cli.main:run"' in text
    assert callable(main.run)
