"""The person at the keyboard: answers questions of safety, or nobody does."""

import asyncio
import getpass
import sys
from collections.abc import Mapping, Sequence
from typing import TextIO

import typer

from orchestrator.reports.layout import wrap

YES = frozenset({"yes", "go"})


class Keyboard:
    """Asks at the terminal. What was accepted by name beforehand is not asked again."""

    def __init__(self, accepted: Mapping[str, str], stream: TextIO) -> None:
        self._accepted = accepted
        self.stream = stream

    def _say(self, text: str, end: str = "\n") -> None:
        print(text, end=end, file=self.stream, flush=True)

    async def ask(self, question: str, text: Sequence[str]) -> tuple[bool, str]:
        """Go or no-go, and who said so; without a terminal and an acceptance it is no."""
        self._say("")
        for paragraph in text:
            for line in wrap(paragraph):
                self._say(line)
        reason = self._accepted.get(question)
        if reason is not None:
            self._say(f"  {question}: go, accepted beforehand ({reason})")
            return True, f"accepted beforehand: {reason}"
        if not sys.stdin.isatty():
            self._say(
                f"  {question}: nobody is at the keyboard, so the answer is no. "
                f"(--accept '{question}=REASON' answers it by name.)"
            )
            return False, "nobody at the keyboard"
        return await self.answered(question), getpass.getuser()

    async def answered(self, question: str) -> bool:
        """What the person at the terminal says to ``question``."""
        self._say(f"  {question}: type 'yes' to go on, anything else to stop: ", end="")
        # Read in a thread, so that steps in hand and Ctrl-C go on meanwhile.
        answer = await asyncio.to_thread(sys.stdin.readline)
        return answer.strip().lower() in YES


def agreed(text: str, *, yes: bool) -> bool:
    """Whether the person agrees to go on; ``yes`` answers beforehand. No question of safety."""
    if yes:
        return True
    if not sys.stdin.isatty():
        said = f"{text} Nobody is at the keyboard: say --yes to agree beforehand."
        typer.echo(said, err=True)
        return False
    return typer.confirm(text, err=True)
