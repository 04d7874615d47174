"""Maintenance windows as people write them."""

from datetime import UTC, datetime

import pytest

from orchestrator.documents.plans.window import read_window
from orchestrator.errors import CallError

NOW = datetime(2026, 3, 1, 22, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "now", "opens", "closes"),
    [
        ("02:00-04:00", "2026-03-01T22:00+00:00", "2026-03-02T02:00", "2026-03-02T04:00"),
        ("02:00-04:00", "2026-03-02T03:59+00:00", "2026-03-02T02:00", "2026-03-02T04:00"),
        ("02:00-04:00", "2026-03-02T04:00+00:00", "2026-03-03T02:00", "2026-03-03T04:00"),
        ("23:00-01:00", "2026-03-01T22:00+00:00", "2026-03-01T23:00", "2026-03-02T01:00"),
        ("23:00-01:00", "2026-03-02T00:30+00:00", "2026-03-01T23:00", "2026-03-02T01:00"),
        ("2:00-4:00", "2026-03-01T22:00+00:00", "2026-03-02T02:00", "2026-03-02T04:00"),
        ("2026-03-05T02:00/04:00", "2026-03-01T22:00+00:00", "2026-03-05T02:00",
         "2026-03-05T04:00"),
        ("2026-03-05T23:00/2026-03-06T01:00", "2026-03-01T22:00+00:00", "2026-03-05T23:00",
         "2026-03-06T01:00"),
    ],
)  # fmt: skip
def test_what_is_meant(text: str, now: str, opens: str, closes: str) -> None:
    """The one that is open, or the next; or the one of that day."""
    found = read_window(text, "Europe/Dublin", datetime.fromisoformat(now))
    assert (found.opens[:16], found.closes[:16]) == (opens, closes)
    assert found.zone == "Europe/Dublin"


def test_it_is_told_in_the_facilitys_zone() -> None:
    """Whatever the zone of the computer: 22:00 UTC is the next morning in Auckland."""
    found = read_window("11:00-12:00", "Pacific/Auckland", NOW)
    assert found.opens == "2026-03-02T11:00:00+13:00"


@pytest.mark.parametrize(
    ("text", "length_h"),
    [
        ("2026-03-29T00:30/03:30", 2),  # the clocks go forward over it
        ("2026-10-25T00:30/03:30", 4),  # and back
        ("2026-10-25T01:30+01:00/01:30+00:00", 1),  # the hour that comes twice
    ],
)
def test_its_true_length_when_the_clocks_change(text: str, length_h: int) -> None:
    """Dublin, in 2026, by Directive 2000/84/EC: 29 March and 25 October, 01:00 GMT."""
    found = read_window(text, "Europe/Dublin", NOW)
    ends = [datetime.fromisoformat(each) for each in (found.opens, found.closes)]
    assert (ends[1] - ends[0]).total_seconds() == length_h * 3600


@pytest.mark.parametrize(
    ("text", "zone", "said"),
    [
        ("02:00-04:00", None, "needs the facility's time zone"),
        ("02:00-04:00", "Europe/Dubln", "there is no time zone Europe/Dubln"),
        ("two to four", "UTC", "is no window"),
        ("25:00-26:00", "UTC", "is no time of day"),
        ("2026-03-05T02:00/", "UTC", "is no time"),
        ("2026-03-05/2026-03-06", "UTC", "no time"),
        ("2026-02-05T02:00/04:00", "UTC", "is over"),
        ("2026-03-05T04:00/02:00", "UTC", "ends before it begins"),
        ("2026-03-29T01:30/04:00", "Europe/Dublin", "does not come in Europe/Dublin"),
        ("2026-10-25T01:30/04:00", "Europe/Dublin", "comes twice in Europe/Dublin"),
    ],
)
def test_what_is_refused(text: str, zone: str | None, said: str) -> None:
    """Nothing is guessed."""
    with pytest.raises(CallError, match=said):
        read_window(text, zone, NOW)


def test_the_window_of_the_night_when_the_clocks_change_is_not_guessed() -> None:
    """The usual times of a night on which one of them does not come."""
    now = datetime(2026, 3, 28, 23, 0, tzinfo=UTC)
    with pytest.raises(CallError, match="does not come"):
        read_window("01:30-04:00", "Europe/Dublin", now)
