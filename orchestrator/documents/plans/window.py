"""A maintenance window as people write it: ``02:00-04:00``, or ISO 8601 ``START/END``.

``02:00-04:00`` is the one that is open now, or else the next. ``2026-03-29T01:30/04:00`` names its
day; both ends may carry an offset, which is needed for a time that comes twice.
"""

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from orchestrator.documents.plans.time_zones import instant, is_zone, zone_fix
from orchestrator.errors import CallError
from orchestrator.running.window import MARGIN_S, Window

_TIMES = re.compile(r"(\d{1,2}:\d{2})-(\d{1,2}:\d{2})")
_FORM = "write it as 02:00-04:00, or with its day as 2026-03-29T02:00/04:00"


def read_window(
    text: str, zone: str | None, now: datetime, *, margin_s: float = MARGIN_S
) -> Window:
    """The window that ``text`` means in ``zone``, read at ``now``.

    Raises:
        CallError: it can't be read, is over, ends before it begins, or names a time that does
            not come on that day, or that comes twice.
    """
    rules = _zone(zone)
    opens, closes = _ends(text.strip(), rules, now)
    if closes <= opens:
        raise CallError(f"the window {text} ends before it begins", _FORM)
    if closes <= now:
        raise CallError(f"the window {text} is over", "name the next one")
    return Window(opens=opens.isoformat(), closes=closes.isoformat(), zone=rules, margin_s=margin_s)


def _zone(name: str | None) -> str:
    if name is None:
        raise CallError(
            "a window needs the facility's time zone, and plan.yaml has none",
            "write 'time_zone: NAME' into plan.yaml, with an IANA name such as Europe/Paris",
        )
    if not is_zone(name):
        raise CallError(f"there is no time zone {name}", zone_fix(name))
    return name


def _ends(text: str, zone: str, now: datetime) -> tuple[datetime, datetime]:
    if match := _TIMES.fullmatch(text):
        return _next(_time(match[1]), _time(match[2]), zone, now)
    start, slash, end = text.partition("/")
    if not slash:
        raise CallError(f"{text} is no window", _FORM)
    opens = _moment(start)
    day, _, clock = end.rpartition("T")
    closes = _moment(end if day else f"{opens.date().isoformat()}T{clock}")
    return instant(opens, zone), instant(closes, zone)


def _next(begin: time, end: time, zone: str, now: datetime) -> tuple[datetime, datetime]:
    """The window of these times that is open at ``now``, or the next one."""
    today = now.astimezone(ZoneInfo(zone)).date()
    for offset in (-1, 0, 1):
        day = today + timedelta(days=offset)
        closing = day if end > begin else day + timedelta(days=1)
        if not _may_be_open(closing, end, zone, now):
            continue
        return instant(datetime.combine(day, begin), zone), instant(
            datetime.combine(closing, end), zone
        )
    raise CallError(f"no window of {begin:%H:%M}-{end:%H:%M} is to come", _FORM)


def _may_be_open(day: date, end: time, zone: str, now: datetime) -> bool:
    """Whether the end of a window is still to come; a time that is in doubt counts as to come."""
    last = datetime.combine(day, end, ZoneInfo(zone)).replace(fold=1)
    return last.astimezone(UTC) > now


def _time(text: str) -> time:
    try:
        return time.fromisoformat(text.zfill(5))
    except ValueError:
        raise CallError(f"{text} is no time of day", _FORM) from None


def _moment(text: str) -> datetime:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise CallError(f"{text} is no time", _FORM) from None
    if "T" not in text:
        raise CallError(f"{text} has no time of day", _FORM)
    return found
