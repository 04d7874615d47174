"""Times of day on screens."""

from datetime import datetime
from zoneinfo import ZoneInfo

from orchestrator.reports.clock import changes, clock_words, limit_words, window_words
from orchestrator.running.window import Window, limits

PLAIN = Window(
    opens="2026-03-01T02:00:00+00:00", closes="2026-03-01T04:00:00+00:00", zone="Europe/Dublin"
)
AUTUMN = Window(
    opens="2026-10-24T23:30:00+01:00", closes="2026-10-25T03:00:00+00:00", zone="Europe/Dublin"
)


def test_a_time_is_never_told_too_late() -> None:
    """Seconds are cut off: who begins by what is told is in time."""
    assert clock_words(datetime.fromisoformat("2026-03-01T03:19:59+00:00"), PLAIN) == "03:19"


def test_another_zones_time_is_told_in_the_windows() -> None:
    """The same instant, whoever measured it."""
    assert clock_words(datetime.fromisoformat("2026-03-01T04:19:00+01:00"), PLAIN) == "03:19"


def test_the_offset_where_the_clocks_change_and_the_day_where_it_is_another() -> None:
    """The hour that comes twice can be told apart."""
    first, second = (
        clock_words(datetime.fromisoformat(f"2026-10-25T0{hour}:30:00+00:00"), AUTUMN)
        for hour in (0, 1)
    )
    assert first == "2026-10-25 01:30 (UTC+01:00)"
    assert second == "2026-10-25 01:30 (UTC+00:00)"


def test_a_window_says_how_long_it_is() -> None:
    """Its true length, and that the clocks change."""
    assert window_words(PLAIN) == "2026-03-01, 02:00 to 04:00 Europe/Dublin, 2 h long"
    assert window_words(AUTUMN).endswith("4 h 30 min long; the clocks change in it")
    ends = [datetime.fromisoformat(text) for text in (AUTUMN.opens, AUTUMN.closes)]
    assert changes(ends[0], ends[1], ZoneInfo("Europe/Dublin"))
    assert not changes(ends[0], ends[1], ZoneInfo("UTC"))


def test_limits() -> None:
    """When to start, and when to turn back."""
    lengths = [900.0, 600.0]
    assert limit_words(PLAIN, limits(PLAIN, lengths, 1), 600.0, 1) == (
        "Phase 2 takes 10 min at the most: start it by 03:10; once it is done, the last time to "
        "turn back is 03:20."
    )
