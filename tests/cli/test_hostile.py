"""Devices that turn hostile in the middle of a run: it pauses, says so, and stays small.

The device answers as ever until the first write reaches it; from then on whatever is asked is
answered by a hostile server. The run is a process of its own, whose greatest memory is what the
kernel says it was.
"""

import asyncio
import contextlib
import os
import re
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import yaml

from tests.adapters.servers import Talk, a_request, answering, http
from tests.adapters.test_hostile import HOSTILE, bomb
from tests.cli.stage import APPLY, NODES, SECRETS, Stage, staged
from tests.example import ROOT

VICTIM = "127.44.3.36"
MOST_BYTES = 200 * 1024 * 1024
"""What a whole run may take: Python, its libraries, and one answer that is believed."""

CASES: dict[str, Talk] = {
    name: HOSTILE[name][0]
    for name in ("ten gibibytes", "endless chunks", "a gzip bomb", "lists in lists", "no UTF-8")
}
CASES["a redirect to another host"] = answering(
    http(b"", "302 Found", "Location: http://127.0.0.9:9/api/tx/1")
)


class Turning:
    """A way to a device that turns hostile once a write has gone through."""

    def __init__(self, to: int, talk: Talk) -> None:
        self._to = to
        self._talk = talk
        self.hostile = False
        self.answered = 0
        self.port = 0

    async def talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Pass one request after the other on, or answer it hostilely."""
        try:
            with contextlib.suppress(OSError, asyncio.IncompleteReadError):
                await self._talked(reader, writer)
        finally:
            writer.close()

    async def _talked(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while True:
            request = await a_request(reader)
            if not request.startswith(b"GET"):
                self.hostile = True
            if self.hostile:
                self.answered += 1
                await self._talk(reader, writer)
                return
            writer.write(await self._passed_on(request))
            await writer.drain()

    async def _passed_on(self, request: bytes) -> bytes:
        reader, writer = await asyncio.open_connection("127.0.0.1", self._to)
        try:
            writer.write(request)
            return await a_request(reader)  # an answer has a head and a length likewise
        finally:
            writer.close()


@contextmanager
def turning(to: int, talk: Talk) -> Iterator[Turning]:
    """Serve it in a thread of its own."""
    way, loop, ready, stop = Turning(to, talk), asyncio.new_event_loop(), threading.Event(), None

    async def serve() -> None:
        nonlocal stop
        stop = asyncio.Event()
        server = await asyncio.start_server(way.talk, "127.0.0.1", 0)
        way.port = server.sockets[0].getsockname()[1]
        ready.set()
        await stop.wait()
        server.close()
        tasks = asyncio.all_tasks() - {asyncio.current_task()}
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await asyncio.sleep(0.01)  # what was closed is let go of in the loop's next turns

    thread = threading.Thread(target=lambda: loop.run_until_complete(serve()), daemon=True)
    thread.start()
    assert ready.wait(5)
    try:
        yield way
    finally:
        assert stop is not None
        loop.call_soon_threadsafe(stop.set)
        thread.join(5)
        loop.close()


OWN_MOST = """
import pathlib, sys
from orchestrator.cli import main
try:
    main.run(sys.argv[2:])
finally:
    pathlib.Path(sys.argv[1]).write_text(pathlib.Path("/proc/self/status").read_text())
"""
"""The command, which leaves behind what the kernel knows of its process (VmHWM, proc(5))."""


def applied(stage: Stage) -> tuple[int, str, int]:
    """``apply`` as a process of its own: its exit status, its words, and the most bytes it had."""
    status = stage.folder / "status.txt"
    done = subprocess.run(
        [sys.executable, "-c", OWN_MOST, str(status), *APPLY, *stage.options("apply")],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env={**os.environ, **SECRETS, "PYTHONPATH": str(ROOT)},
        text=True,
        check=False,
    )
    (most,) = re.findall(r"VmHWM:\s+(\d+) kB", status.read_text(encoding="utf-8"))
    return done.returncode, " ".join(done.stdout.split()), int(most) * 1024


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel of Linux tells it")
@pytest.mark.parametrize("case", CASES)
def test_a_device_that_turns_hostile_pauses_the_run(case: str, tmp_path: Path) -> None:
    """Typed and in words; nothing more is written to it; small; and the run can be gone on with."""
    bomb()  # made before any deadline runs
    with staged(tmp_path, NODES) as stage:
        ways = yaml.safe_load(stage.map.read_text(encoding="utf-8"))
        honest = int(ways[VICTIM].rpartition(":")[2])
        with turning(honest, CASES[case]) as way:
            stage.map.write_text(
                yaml.safe_dump({**ways, VICTIM: f"127.0.0.1:{way.port}"}), encoding="utf-8"
            )
            status, said, most = applied(stage)
        assert way.hostile
        assert way.answered > 0
        assert status == 1, said
        assert "Traceback" not in said
        assert most < MOST_BYTES, f"{most / 1024**2:.0f} MiB"
        (run,) = stage.runs()
        assert run["state"] in {"paused", "unfinished"}, run
        stage.map.write_text(yaml.safe_dump(ways), encoding="utf-8")
        ended = stage.run("resume", *APPLY[2:])
        assert ended.status == 0, ended.said
        assert stage.target_reached()
