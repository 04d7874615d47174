"""The clock rule of the maintenance window."""

from datetime import datetime, timedelta

import pytest

from orchestrator.running.window import Window, limits

WINDOW = Window(opens="2026-03-01T02:00:00+00:00", closes="2026-03-01T04:00:00+00:00", zone="UTC")


def when(clock: str) -> datetime:
    """A time in the night of the window."""
    return datetime.fromisoformat(f"2026-03-01T{clock}:00+00:00")


def test_the_worked_example() -> None:
    """02:00 to 04:00, 25 min to back out, 15 min margin: all ends by 03:20.

    So a step of 10 min, the last of those 25, starts no later than 03:10. (Worked example of the
    clock rule; common practice, no source.)
    """
    found = limits(WINDOW, [15 * 60.0, 10 * 60.0], 1)
    assert found.end_by == when("03:20")
    assert found.latest_start == when("03:10")
    assert found.turn_back == when("03:30")
    assert found.allow(when("03:10"))
    assert not found.allow(when("03:10") + timedelta(seconds=1))


def test_each_phase_leaves_less() -> None:
    """What is done has to be taken back, too."""
    lengths = [600.0, 600.0, 600.0]
    starts = [limits(WINDOW, lengths, phase).latest_start for phase in range(3)]
    assert [start.strftime("%H:%M") for start in starts] == ["03:25", "03:15", "03:05"]


@pytest.mark.parametrize("margin_s", [0.0, 600.0])
def test_the_margin_stays_free(margin_s: float) -> None:
    """It is the user's."""
    window = Window(opens=WINDOW.opens, closes=WINDOW.closes, zone="UTC", margin_s=margin_s)
    free = when("04:00") - timedelta(seconds=margin_s)
    assert limits(window, [0.0], 0).end_by == free


def test_a_change_of_the_clocks_changes_nothing() -> None:
    """From 01:00+00:00 to 03:00+01:00 it is one hour, not two."""
    spring = Window(
        opens="2026-03-29T01:00:00+00:00", closes="2026-03-29T03:00:00+01:00", zone="Europe/Dublin"
    )
    found = limits(spring, [600.0], 0)
    assert found.end_by - datetime.fromisoformat(spring.opens) == timedelta(minutes=35)
