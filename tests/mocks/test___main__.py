"""The command, as another process; its state file is how a test looks inside."""

import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
import yaml

from mocks.__main__ import DEFAULT_WORLD, mapped_addresses
from mocks.holdings import in_transit
from mocks.world import World

AUTH = httpx.BasicAuth("engineer", "north-secret")
ROOT = Path(__file__).parents[2]


class Served:
    """A running command, and its state file."""

    def __init__(self, process: "subprocess.Popen[str]", state: Path) -> None:
        self.process = process
        self.state = state
        self.lines: list[str] = []

    def look(self) -> dict[str, Any]:
        """What the state file says after a SIGUSR1."""
        before = self.state.stat().st_mtime_ns
        self.process.send_signal(signal.SIGUSR1)
        return self.newer_than(before)

    def newer_than(self, before: int) -> dict[str, Any]:
        """The state file once it is newer."""
        end = time.monotonic() + 5
        while self.state.stat().st_mtime_ns == before:
            assert time.monotonic() < end
            time.sleep(0.01)
        found: dict[str, Any] = json.loads(self.state.read_text(encoding="utf-8"))
        return found

    def end(self) -> tuple[int, str]:
        """Exit status and last words after a SIGTERM."""
        self.process.send_signal(signal.SIGTERM)
        out, _ = self.process.communicate(timeout=10)
        return self.process.returncode, out


@contextmanager
def served(tmp_path: Path, world: str, *options: str) -> Iterator[Served]:
    """The command, started; it has printed its lines for the six devices."""
    path, state = tmp_path / "world.yaml", tmp_path / "state.json"
    path.write_text(world, encoding="utf-8")
    command = [sys.executable, "-m", "mocks", "serve", "--world", str(path), "--state", str(state)]
    with subprocess.Popen(
        [*command, *options], stdout=subprocess.PIPE, text=True, cwd=ROOT
    ) as process:
        found = Served(process, state)
        assert process.stdout is not None
        found.lines = [process.stdout.readline().rstrip("\n") for _ in range(6)]
        while not state.exists():
            time.sleep(0.01)
        yield found
        process.kill()


def test_serves_and_judges(tmp_path: Path, world_text: str, net: str) -> None:
    """Devices are listed and answer; a breach is in the verdict, the log, and the exit status."""
    log = tmp_path / "log"
    with served(tmp_path, world_text, "--log", str(log)) as command:
        found = re.fullmatch(rf"{re.escape(net)}\.31:(\d+)  Corvid CE-40  north", command.lines[0])
        assert found
        port = found[1]
        assert command.look()["clean"]
        headers = {"X-Node-Key": "node-secret"}
        url = f"http://{net}.42:{port}/api/tx/1"
        assert httpx.put(url, headers=headers, json={"num": "0500"}).status_code == 200
        state = command.look()
        assert (state["clean"], state["writes"]["node"]) == (False, 1)
        assert state["verdict"]["broken"][0]["rule"] == "H3"
        assert state["devices"]["node"]["running"]["sources"]["1"]["number"] == 500
        status, words = command.end()
    assert status == 1
    assert "Safety rules were broken:\n  H3 at " in words
    entry = json.loads(log.read_text(encoding="utf-8"))
    assert (entry["device"], entry["method"], entry["outcome"]) == ("node", "PUT", "200")
    assert "node-secret" not in log.read_text(encoding="utf-8")


def test_clean_end_with_map_and_fault(tmp_path: Path, world_text: str, net: str) -> None:
    """With a connect map every address has a port; a fault strikes; a clean end is exit 0."""
    path = tmp_path / "map.yaml"
    options = ["--connect-map", str(path), "--also", "127.9.9.9", "--port", "8080"]
    with served(tmp_path, world_text, *options, "--fault", "north:busy:status=423") as command:
        found = yaml.safe_load(path.read_text(encoding="utf-8"))
        assert f"{net}.31 at {found[f'{net}.31']}  Corvid CE-40  north" == command.lines[0]
        assert {f"{net}.33", f"{net}.105", f"{net}.140", "127.9.9.9"} <= set(found)
        url = f"http://{found[f'{net}.31']}/unit"
        assert [httpx.get(url, auth=AUTH).status_code for _ in range(2)] == [423, 200]
        before = command.state.stat().st_mtime_ns
        command.process.send_signal(signal.SIGUSR2)
        assert command.newer_than(before)["requests"]["north"] == 2
        assert command.end() == (0, "No safety rule was broken.\n")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--world", "/nowhere/world.yaml"], "can't be read"),
        (["--fault", "nobody:refuse"], "no device 'nobody'"),
        (["--fault", "north:explode"], "no fault 'explode'"),
    ],
)
def test_wrong_calls(tmp_path: Path, world_text: str, options: list[str], says: str) -> None:
    """A wrong call ends with 2 and says why, without a traceback."""
    path = tmp_path / "world.yaml"
    path.write_text(world_text, encoding="utf-8")
    command = [sys.executable, "-m", "mocks", "serve", "--world", str(path), *options]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 2
    assert done.stderr.startswith("error: ")
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_mapped_addresses_of_a_wide_network(world_text: str, net: str) -> None:
    """Of a network too wide to map whole, what it sets aside as transit is mapped."""
    wide = world_text.replace(f"{net}.0/25", net.rpartition(".")[0] + ".0.0/16")
    found = mapped_addresses(World.from_text(wide), ["127.9.9.9"])
    assert len(found) == 1 + 126 + 10
    assert {"127.9.9.9", f"{net}.100", f"{net}.254"} <= set(found)


def test_the_default_world_can_be_read() -> None:
    """The world that is served when none is named is one that loads, with nobody in transit."""
    world = World.load(DEFAULT_WORLD)
    assert world.names
    assert in_transit(world.site, world.memories()) == frozenset()
