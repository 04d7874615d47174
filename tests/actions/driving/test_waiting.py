"""Waiting for a window to open."""

import asyncio
from datetime import UTC, datetime, timedelta

import pytest

from orchestrator.actions.driving.waiting import until_open
from orchestrator.errors import CallError
from orchestrator.running.window import Window
from tests.actions.acted import Clock

WINDOW = Window(
    opens="2026-03-01T02:30:00+00:00", closes="2026-03-01T04:00:00+00:00", zone="Europe/Dublin"
)


def waited(window: Window | None, now: datetime) -> tuple[Clock, list[str]]:
    """The clock after waiting, and what was said."""
    clock, said = Clock(), list[str]()
    clock.time = now
    asyncio.run(until_open(window, clock, said.append))
    return clock, said


def test_it_waits_a_minute_at_a_time() -> None:
    """And begins neither early nor late."""
    clock, said = waited(WINDOW, datetime(2026, 3, 1, 2, 0, 30, tzinfo=UTC))
    assert clock.time == datetime(2026, 3, 1, 2, 30, tzinfo=UTC)
    assert max(clock.slept) == 60
    assert len(said) == 1
    assert said[0].startswith("The window opens at 02:30 Europe/Dublin; it is 02:00. Nothing is")


@pytest.mark.parametrize("window", [WINDOW, None])
def test_at_once(window: Window | None) -> None:
    """Where it is open, or there is none."""
    clock, said = waited(window, datetime(2026, 3, 1, 3, 0, tzinfo=UTC))
    assert (clock.slept, said) == ([], [])


@pytest.mark.parametrize(
    ("from_it", "said"), [(timedelta(days=-2), "more than a day"), (timedelta(hours=2), "is over")]
)
def test_a_window_of_another_day(from_it: timedelta, said: str) -> None:
    """Nobody waits for days, and nothing begins after it."""
    with pytest.raises(CallError, match=said):
        waited(WINDOW, datetime.fromisoformat(WINDOW.opens) + from_it)
