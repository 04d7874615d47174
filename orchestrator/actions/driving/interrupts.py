"""What Ctrl-C does to a run: the first press asks it to pause, the second stops it at once."""

import asyncio
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

PAUSE, AT_ONCE = 1, 2
"""How many presses ask for a pause, and how many for a stop at once."""


class Interrupts:
    """Counts presses; use it from one event loop only."""

    def __init__(self) -> None:
        self.presses = 0
        self._pressed = asyncio.Event()

    def press(self) -> None:
        """Ask to pause; a second time: to stop at once. Further presses change nothing."""
        self.presses = min(self.presses + 1, AT_ONCE)
        self._pressed.set()

    async def next(self) -> None:
        """Return when there was a press since the last call."""
        await self._pressed.wait()
        self._pressed.clear()


@contextmanager
def listening(interrupts: Interrupts) -> Iterator[None]:
    """Make SIGINT press, while inside; as it was before, afterwards.

    Outside the main thread, where Python delivers no signals, it changes nothing.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    loop = asyncio.get_running_loop()
    before = signal.getsignal(signal.SIGINT)
    loop.add_signal_handler(signal.SIGINT, interrupts.press)
    try:
        yield
    finally:
        loop.remove_signal_handler(signal.SIGINT)
        signal.signal(signal.SIGINT, before)
