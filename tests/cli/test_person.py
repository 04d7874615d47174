"""Who answers questions of safety."""

import asyncio
import io
import sys
from unittest.mock import patch

import pytest

from orchestrator.cli.person import Keyboard, agreed


class Terminal(io.StringIO):
    """Standard input with somebody at it."""

    def isatty(self) -> bool:
        """Yes."""
        return True


def ask(typed: io.StringIO, accepted: dict[str, str] | None = None) -> tuple[bool, str, str]:
    """Ask one question: the answer, who gave it, and what was shown."""
    shown = io.StringIO()
    keyboard = Keyboard(accepted or {}, shown)
    with patch.object(sys, "stdin", typed):
        go, by = asyncio.run(keyboard.ask("monitors-down", ("Are monitors down? " * 9,)))
    return go, by, shown.getvalue()


@pytest.mark.parametrize("typed", ["yes\n", " GO \n", "Yes"])
def test_yes_in_full(typed: str) -> None:
    """A whole word is a go, and the name of whoever typed it is kept."""
    go, by, shown = ask(Terminal(typed))
    assert go
    assert by
    assert max(map(len, shown.splitlines())) <= 80


@pytest.mark.parametrize("typed", ["y\n", "\n", "", "no\n", "yes?\n", "ok\n"])
def test_all_else_is_no(typed: str) -> None:
    """A key pressed by habit, or the end of the input, is no go."""
    assert not ask(Terminal(typed))[0]


def test_nobody_there() -> None:
    """Without a terminal it is no, whatever comes in, and the way to answer by name is told."""
    go, by, shown = ask(io.StringIO("yes\n"))
    assert (go, by) == (False, "nobody at the keyboard")
    assert "--accept 'monitors-down=REASON'" in shown


def test_accepted_by_name() -> None:
    """A named acceptance answers; the reason is kept; another name's does not."""
    assert ask(io.StringIO(), {"monitors-down": "M. O. is there"})[:2] == (
        True,
        "accepted beforehand: M. O. is there",
    )
    assert not ask(io.StringIO(), {"go:1": "x"})[0]


def test_agreed(capsys: pytest.CaptureFixture[str]) -> None:
    """--yes agrees; without a terminal nobody does."""
    assert agreed("Do it?", yes=True)
    with patch.object(sys, "stdin", io.StringIO("y\n")):
        assert not agreed("Do it?", yes=False)
    assert "--yes" in capsys.readouterr().err
