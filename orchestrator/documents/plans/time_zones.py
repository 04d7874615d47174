"""Time zones by their IANA names, and what a local time comes to in one.

The rules are the system's, or those of the ``tzdata`` package where the system has none. A time
that does not come on that day, or that comes twice, is never guessed at.
"""

from datetime import UTC, datetime, timedelta, timezone
from difflib import get_close_matches
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from orchestrator.errors import CallError


def is_zone(name: str) -> bool:
    """Whether there is a zone of that name."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def zone_fix(name: str) -> str:
    """What to write instead of ``name``, which is no zone."""
    close = get_close_matches(name, available_timezones(), 3)
    shown = " or ".join(sorted(close)) or "such as Europe/Paris"
    return f"write an IANA name: {shown}"


def instant(local: datetime, zone: str) -> datetime:
    """The instant at which the clocks of ``zone`` show ``local``, with their offset then.

    ``local`` may carry an offset, which tells a time that comes twice apart.

    Raises:
        CallError: that time does not come on that day, comes twice, or not with that offset.
    """
    rules = ZoneInfo(zone)
    shown = local.replace(tzinfo=None, fold=0)
    found = _instants(shown, rules)
    if local.tzinfo is not None:
        return _with_offset(local, found, rules)
    told = f"{shown:%Y-%m-%d %H:%M}"
    if not found:
        before, after = (shown.replace(tzinfo=rules, fold=fold) for fold in (0, 1))
        raise CallError(
            f"{told} does not come in {zone}: the clocks go forward over it, from "
            f"UTC{_offset(before)} to UTC{_offset(after)}",
            "name a time before or after that hour",
        )
    if len(found) > 1:
        either = " or ".join(each.isoformat(timespec="minutes") for each in found)
        raise CallError(
            f"{told} comes twice in {zone}: the clocks go back over it",
            f"write the offset with it: {either}",
        )
    return found[0]


def _instants(shown: datetime, rules: ZoneInfo) -> list[datetime]:
    """The instants at which clocks show that: none, one or two, the earlier one first.

    They come with their offset and not with the zone: Python compares two times of one zone by
    what the clocks show, and would take the two for one.
    """
    instants = {shown.replace(tzinfo=rules, fold=fold).astimezone(UTC) for fold in (0, 1)}
    found = [each.astimezone(rules) for each in sorted(instants)]
    return [
        each.replace(tzinfo=timezone(each.utcoffset() or timedelta()), fold=0)
        for each in found
        if each.replace(tzinfo=None, fold=0) == shown
    ]


def _with_offset(local: datetime, found: list[datetime], rules: ZoneInfo) -> datetime:
    for each in found:
        if each.utcoffset() == local.utcoffset():
            return each
    has = " or ".join(f"UTC{_offset(each)}" for each in found) or "no such time"
    raise CallError(
        f"{local.isoformat(timespec='minutes')}: {rules.key} has {has} then, not UTC"
        f"{_offset(local)}",
        "leave the offset out, or correct it",
    )


def _offset(local: datetime) -> str:
    return local.isoformat()[-6:]
