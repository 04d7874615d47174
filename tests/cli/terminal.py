"""A command at a terminal of its own: what is on the screen, what is typed, Ctrl-C."""

import contextlib
import os
import pty
import select
import subprocess
import sys
import termios
import time
from collections.abc import Iterator

from tests.cli.stage import PATIENCE_S, SECRETS, Stage
from tests.example import ROOT


class Terminal:
    """One command, and a person in front of it."""

    def __init__(self, process: "subprocess.Popen[bytes]", screen: int) -> None:
        self._process = process
        self._screen = screen
        self.shown = ""
        self._seen = 0

    @property
    def said(self) -> str:
        """All that was shown, on one line, as if nothing had been wrapped."""
        return " ".join(self.shown.split())

    def wait_for(self, text: str) -> None:
        """Look at the screen until ``text`` comes, wrapped or not, after what was looked at."""
        end = time.monotonic() + PATIENCE_S
        wanted = "".join(text.split())
        while (fresh := "".join(self.shown[self._seen :].split())) is not None:
            if wanted in fresh:
                self._seen = len(self.shown)
                return
            assert time.monotonic() < end, f"{text!r} did not come:\n{self.shown}"
            assert self._read(), f"it ended before {text!r}:\n{self.shown}"

    def _read(self) -> bool:
        """Take what is on the screen; False once the command has left it."""
        ready, _, _ = select.select([self._screen], [], [], 1.0)
        if not ready:
            return True
        try:
            data = os.read(self._screen, 65536)
        except OSError:  # how Linux says that nobody has the other end open
            return False
        self.shown += data.decode()
        return bool(data)

    def types(self, text: str) -> None:
        """Type a line."""
        os.write(self._screen, f"{text}\n".encode())

    def answers(self, question: str, text: str = "yes") -> None:
        """Wait for a question by its name, and type an answer."""
        self.wait_for(f"{question}: type 'yes' to go on")
        self.types(text)

    def ctrl_c(self) -> None:
        """Press Ctrl-C: the terminal makes a signal of it."""
        os.write(self._screen, b"\x03")

    def ends(self) -> int:
        """Let it come to its end; its exit status."""
        end = time.monotonic() + PATIENCE_S
        while self._read():
            assert time.monotonic() < end, self.shown
        return self._process.wait(PATIENCE_S)


@contextlib.contextmanager
def at_terminal(stage: Stage, command: str, *arguments: str) -> Iterator[Terminal]:
    """Start a command at a terminal; it is killed if the block leaves it running."""
    screen, line = pty.openpty()
    termios.tcsetwinsize(line, (50, 100))
    call = [sys.executable, "-m", "orchestrator.cli.main", command, *arguments]
    process = subprocess.Popen(
        [*call, *stage.options(command)],
        stdin=line,
        stdout=line,
        stderr=line,
        start_new_session=True,
        preexec_fn=_own_terminal,  # noqa: PLW1509 - one call before the child is replaced
        env={**os.environ, **SECRETS, "PYTHONPATH": str(ROOT), "TERM": "xterm"},
    )
    os.close(line)
    try:
        yield Terminal(process, screen)
    finally:
        process.kill()
        process.wait(PATIENCE_S)
        os.close(screen)


def _own_terminal() -> None:
    """Make the terminal the command's own, so that Ctrl-C reaches it and nobody else."""
    import fcntl  # noqa: PLC0415 - in the child alone

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
