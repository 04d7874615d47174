"""Times of day as the clock on the facility's wall shows them."""

from datetime import datetime
from zoneinfo import ZoneInfo

from orchestrator.reports.layout import seconds
from orchestrator.running.window import Limits, Window


def clock_words(at: datetime, window: Window) -> str:
    """The minute that ``at`` falls into, in the window's zone; a later minute is never told.

    The offset from UTC is told where the clocks change in the window, and the day where it is not
    the day on which the window opens.
    """
    zone = ZoneInfo(window.zone)
    opens, closes = (datetime.fromisoformat(text) for text in (window.opens, window.closes))
    local = at.astimezone(zone)
    told = f"{local:%H:%M}"
    if local.date() != opens.astimezone(zone).date():
        told = f"{local:%Y-%m-%d} {told}"
    if changes(opens, closes, zone):
        told += f" (UTC{_offset(local)})"
    return told


def changes(opens: datetime, closes: datetime, zone: ZoneInfo) -> bool:
    """Whether the clocks of ``zone`` change between two instants."""
    return opens.astimezone(zone).utcoffset() != closes.astimezone(zone).utcoffset()


def _offset(local: datetime) -> str:
    return local.isoformat()[-6:]


def window_words(window: Window) -> str:
    """A window in one sentence: its day, times, zone, and true length."""
    zone = ZoneInfo(window.zone)
    opens, closes = (datetime.fromisoformat(text) for text in (window.opens, window.closes))
    length = (closes - opens).total_seconds()
    said = (
        f"{opens.astimezone(zone):%Y-%m-%d}, {clock_words(opens, window)} to "
        f"{clock_words(closes, window)} {window.zone}, {seconds(length)} long"
    )
    return f"{said}; the clocks change in it" if changes(opens, closes, zone) else said


def limit_words(window: Window, limits: Limits, length: float, phase: int) -> str:
    """What the window leaves for a phase that takes ``length`` seconds at the most."""
    return (
        f"Phase {phase + 1} takes {seconds(length)} at the most: start it by "
        f"{clock_words(limits.latest_start, window)}; once it is done, the last time to turn back "
        f"is {clock_words(limits.end_by, window)}."
    )
