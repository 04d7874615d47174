"""A stage for whole commands: a copy of the example, its devices simulated, and the command.

The devices answer at ports of their own, which the command is told by a connect file, so that
stages can stand side by side.
"""

import contextlib
import io
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

import yaml

from mocks.referee import Referee
from mocks.server import Running, serve
from mocks.state import State
from mocks.world import World
from orchestrator.cli import main
from tests.example import FACILITY, ROOT, WORLD

SECRETS = {
    "CUTSHEET_CREDENTIALS": "environment",
    "CUTSHEET_CREDENTIAL_CORVID_UNITS": "engineer:invented-gull-on-a-wire",
    "CUTSHEET_CREDENTIAL_TAMARISK_UNITS": "invented-three-wet-oars",
}
QUESTIONS = ("who-is-on-air", "monitors-down", "alert-chain", "go:1", "go:2", "go:3", "go:4")
ANSWERS = tuple(part for name in QUESTIONS for part in ("--accept", f"{name}=a test"))
APPLY = ("apply", "--yes", *ANSWERS)
PATIENCE_S = 60

PROGRAMMES, NODES = "programme-numbers.yaml", "microphones-exchange-addresses.yaml"
MISKEYED, ENGINE = "studio-south-one-number-twice.yaml", "studio-north-new-engine.yaml"
REUSED = "talks-reused-node.yaml"

_QUICK = {
    "settle_s: 1": "settle_s: 0.2",
    "late_s: 1": "late_s: 0.1",
    "timeout_s: 2": "timeout_s: 1",
}
_ALSO_MAPPED = ["127.44.3.22", "127.44.3.31", *(f"127.44.3.{host}" for host in range(230, 240))]
_NO_WAY_NEEDED = {"check", "runs", "rollback-notes", "adopt", "schema", "credential"}


@dataclass(frozen=True)
class Ended:
    """What a command left behind."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """Its output as one JSON document."""
        return json.loads(self.out)

    @property
    def said(self) -> str:
        """All its words on one line, as if nothing had been wrapped."""
        return " ".join((self.out + " " + self.err).split())


def facility(folder: Path, *playbooks: str) -> Path:
    """Make a copy of the example in ``folder``, with some of its playbooks or all."""
    shutil.copytree(FACILITY, folder)
    for path in (folder / "playbooks").iterdir():
        if playbooks and path.name not in playbooks:
            path.unlink()
    for path in (folder / "devices").iterdir():
        text = path.read_text(encoding="utf-8")
        for slow, quick in _QUICK.items():
            text = text.replace(slow, quick)
        path.write_text(text, encoding="utf-8")
    return folder


def cutsheet(*arguments: str, typed: str | io.StringIO = "", **environment: str) -> Ended:
    """Run the command in this process; nobody is at its terminal."""
    out, err, status = io.StringIO(), io.StringIO(), 0
    with (
        patch.dict(os.environ, {**SECRETS, **environment}),
        patch.object(sys, "stdin", io.StringIO(typed) if isinstance(typed, str) else typed),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main.run([*arguments])
        except SystemExit as leaving:
            status = leaving.code if isinstance(leaving.code, int) else 1
    return Ended(status, out.getvalue(), err.getvalue())


class Stage:
    """A facility, its world, and commands that work on them."""

    def __init__(self, folder: Path, world: World, running: Running) -> None:
        self.folder = folder
        self.world = world
        self.running = running
        self.referee = Referee(world)
        self.map = folder / "connect.yaml"
        self.map.write_text(yaml.safe_dump(dict(running.connect_map)), encoding="utf-8")

    def options(self, command: str) -> list[str]:
        """What every command here is told: the folder, and the ways to the devices."""
        ways = [] if command in _NO_WAY_NEEDED else ["--connect-file", str(self.map)]
        return ["--facility", str(self.folder), *ways]

    def run(self, command: str, *arguments: str, **environment: str) -> Ended:
        """Run a command in this process."""
        return cutsheet(command, *arguments, *self.options(command), **environment)

    @contextlib.contextmanager
    def started(self, command: str, *arguments: str) -> Iterator["subprocess.Popen[str]"]:
        """A command as a process of its own; it is killed if the block leaves it running."""
        call = [sys.executable, "-m", "orchestrator.cli.main", command, *arguments]
        process = subprocess.Popen(
            [*call, *self.options(command)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, **SECRETS, "PYTHONPATH": str(ROOT)},
        )
        with process:
            try:
                yield process
            finally:
                process.kill()

    def runs(self) -> list[dict[str, Any]]:
        """The runs in the ledger, oldest first."""
        found: list[dict[str, Any]] = self.run("runs", "--json").json["runs"]
        return found

    def last(self) -> str:
        """The latest run's id."""
        return str(self.runs()[-1]["id"])

    def writes(self) -> int:
        """How many writes have reached the devices."""
        return sum(self.world.writes(name) for name in self.world.names)

    def now(self, device: str) -> State:
        """What runs on a device."""
        return self.world.machine(device).memory.running

    def target_reached(self) -> bool:
        """Whether nothing is left to change; asked of the devices anew."""
        return self.run("dry-run").status == 0


@contextlib.contextmanager
def staged(folder: Path, *playbooks: str, as_it_is: Path = WORLD) -> Iterator[Stage]:
    """A stage with some of the example's playbooks, or all; ``as_it_is``: how devices stand."""
    world = World.load(as_it_is)
    copied = facility(folder / "facility", *playbooks)
    with serve(world, connect_map=True, map_addresses=_ALSO_MAPPED) as running:
        yield Stage(copied, world, running)


def interrupt(process: "subprocess.Popen[str]") -> str:
    """Press Ctrl-C for a process and give all that it still says."""
    process.send_signal(signal.SIGINT)
    out, _ = process.communicate(timeout=PATIENCE_S)
    return out
