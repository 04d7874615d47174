"""Local times and what they come to, held against published rules of summer time."""

from datetime import UTC, date, datetime, timedelta

import pytest

from orchestrator.documents.plans.time_zones import instant, is_zone, zone_fix
from orchestrator.errors import CallError

YEARS = range(2024, 2038)


def sunday(year: int, month: int, which: int) -> date:
    """The n-th Sunday of a month, or with -1 its last."""
    first = date(year, month, 1)
    sundays = [
        day
        for offset in range(31)
        if (day := first + timedelta(days=offset)).month == month and day.isoweekday() == 7
    ]
    return sundays[which if which < 0 else which - 1]


def at(day: date, clock: str) -> datetime:
    """A local time."""
    return datetime.fromisoformat(f"{day.isoformat()}T{clock}")


def comes_twice(local: datetime, zone: str) -> bool:
    """Whether it is refused for coming twice."""
    with pytest.raises(CallError) as caught:
        instant(local, zone)
    return "comes twice" in caught.value.what


@pytest.mark.parametrize("year", YEARS)
@pytest.mark.parametrize(
    ("zone", "hour"), [("Europe/Dublin", 1), ("Europe/Paris", 2), ("Europe/Athens", 3)]
)
def test_summer_time_in_europe(year: int, zone: str, hour: int) -> None:
    """From the last Sunday of March to the last of October, each at 01:00 Greenwich Mean Time.

    Source: Directive 2000/84/EC, articles 2 and 3.
    """
    spring, autumn = sunday(year, 3, -1), sunday(year, 10, -1)
    assert not comes_twice(at(spring, f"0{hour}:30"), zone)
    one = datetime.combine(spring, datetime.min.time(), UTC) + timedelta(hours=1)
    assert instant(at(spring, f"0{hour + 1}:00"), zone) == one
    assert comes_twice(at(autumn, f"0{hour}:30"), zone)
    one = datetime.combine(autumn, datetime.min.time(), UTC) + timedelta(hours=1)
    assert instant(at(autumn, f"0{hour + 1}:00"), zone) == one + timedelta(hours=1)


@pytest.mark.parametrize("year", YEARS)
def test_summer_time_in_the_united_states(year: int) -> None:
    """From the second Sunday of March to the first of November, each at 02:00 local time.

    Source: Energy Policy Act of 2005, section 110 (amending 15 U.S.C. 260a).
    """
    spring, autumn = sunday(year, 3, 2), sunday(year, 11, 1)
    assert not comes_twice(at(spring, "02:30"), "America/New_York")
    assert instant(at(spring, "03:00"), "America/New_York").isoformat().endswith("03:00:00-04:00")
    assert comes_twice(at(autumn, "01:30"), "America/New_York")
    assert instant(at(autumn, "02:00"), "America/New_York").isoformat().endswith("02:00:00-05:00")


def test_a_time_that_comes_twice_is_told_apart_by_its_offset() -> None:
    """New York, 4 November 2007, 01:30: the first is at UTC-04:00. Source: RFC 5545, 3.3.5."""
    first = instant(datetime.fromisoformat("2007-11-04T01:30-04:00"), "America/New_York")
    second = instant(datetime.fromisoformat("2007-11-04T01:30-05:00"), "America/New_York")
    assert first == datetime(2007, 11, 4, 5, 30, tzinfo=UTC)
    assert second - first == timedelta(hours=1)
    with pytest.raises(CallError) as caught:
        instant(datetime(2007, 11, 4, 1, 30), "America/New_York")  # noqa: DTZ001 - a local time
    assert caught.value.fix == (
        "write the offset with it: 2007-11-04T01:30-04:00 or 2007-11-04T01:30-05:00"
    )


def test_a_time_that_does_not_come_is_refused() -> None:
    """New York, 11 March 2007, 02:30 lies in the gap. Source: RFC 5545, section 3.3.5.

    The standard reads it with the offset before the gap; for a window it is refused: a person
    should say what was meant.
    """
    with pytest.raises(CallError) as caught:
        instant(datetime(2007, 3, 11, 2, 30), "America/New_York")  # noqa: DTZ001 - a local time
    assert "does not come in America/New_York" in caught.value.what
    assert "from UTC-05:00 to UTC-04:00" in caught.value.what


def test_an_offset_that_is_not_the_zones_is_refused() -> None:
    """It would be an hour off."""
    with pytest.raises(CallError) as caught:
        instant(datetime.fromisoformat("2026-03-01T02:00+01:00"), "Europe/Dublin")
    assert "has UTC+00:00 then, not UTC+01:00" in caught.value.what


@pytest.mark.parametrize("name", ["Nowhere/At_All", "", "../etc/passwd", "Europe"])
def test_what_is_no_zone(name: str) -> None:
    """Names that the rules don't have, or that are no names."""
    assert not is_zone(name)


def test_zones() -> None:
    """Names of the IANA database; a near miss is put right."""
    assert is_zone("Atlantic/Faroe")
    assert "Europe/Dublin" in zone_fix("Europe/Dubln")
    assert "such as" in zone_fix("??")
