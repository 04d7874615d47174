"""Waiting for a maintenance window to open, before anything is asked of a device."""

from collections.abc import Callable
from datetime import datetime, timedelta

from orchestrator.errors import CallError
from orchestrator.reports.clock import clock_words, window_words
from orchestrator.running.protocols import Clock
from orchestrator.running.window import Window

LONGEST_WAIT = timedelta(hours=24)
"""Nobody means to wait longer than this at a screen. Our own choice."""

AT_A_TIME_S = 60.0


async def until_open(window: Window | None, clock: Clock, say: Callable[[str], None]) -> None:
    """Return once ``window`` is open; at once, if there is none.

    The clock is read again every minute: a computer that slept, or whose clock was put right,
    does not begin at the wrong time.

    Raises:
        CallError: it opens in more than a day, or is over.
    """
    if window is None:
        return
    opens, closes = (datetime.fromisoformat(text) for text in (window.opens, window.closes))
    now = clock.now()
    if now >= closes:
        raise CallError(
            f"the window is over: {window_words(window)}",
            "agree on another; then make the work order anew, or name that window",
        )
    if opens - now > LONGEST_WAIT:
        raise CallError(
            f"the window opens in more than a day: {window_words(window)}",
            "begin on the day itself; a work order keeps what was approved until then",
        )
    if now < opens:
        say(
            f"The window opens at {clock_words(opens, window)} {window.zone}; it is "
            f"{clock_words(now, window)}. Nothing is asked or written until then. Ctrl-C ends it."
        )
    while (left := (opens - clock.now()).total_seconds()) > 0:
        await clock.sleep(min(left, AT_A_TIME_S))
