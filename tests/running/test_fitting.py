"""Whether a run fits into its window, seen beforehand."""

from datetime import datetime

import pytest

from orchestrator.facility.hazard import Grade
from orchestrator.running.fitting import does_not_fit
from orchestrator.running.terms import Terms
from orchestrator.running.window import Window

WINDOW = Window(opens="2026-03-01T02:00:00+00:00", closes="2026-03-01T04:00:00+00:00", zone="UTC")


@pytest.mark.parametrize(
    ("clock", "soak_min", "lengths_min", "late"),
    [
        ("01:00", 0, (30, 20), []),  # from 02:00, phase 2 from 02:30; it may start by 02:35
        ("02:05", 0, (30, 20), []),
        ("02:06", 0, (30, 20), ["window:2"]),
        ("02:00", 6, (30, 20), ["window:2"]),  # the soak time comes on top
        ("02:45", 0, (30, 20), ["window:2"]),
        ("02:46", 0, (30, 20), ["window:1", "window:2"]),
        ("02:00", 0, (60,), ["window:1"]),
        ("02:00", 0, (0,), []),
    ],
)
def test_what_does_not_fit(
    clock: str, soak_min: float, lengths_min: tuple[float, ...], late: list[str]
) -> None:
    """Each phase at its latest, if all before it takes as long as it may; 15 min stay free."""
    at = datetime.fromisoformat(f"2026-03-01T{clock}:00+00:00")
    terms = Terms(window=WINDOW, soak_s=60 * soak_min)
    found = list(does_not_fit(terms, [60 * length for length in lengths_min], at))
    assert [hazard.name for hazard in found] == late
    grades = {hazard.name: hazard.grade for hazard in found}
    assert grades.get("window:1", Grade.STOPS) is Grade.STOPS
    assert grades.get("window:2", Grade.INFORMATION) is Grade.INFORMATION


def test_without_a_window() -> None:
    """All fits."""
    at = datetime.fromisoformat("2026-03-01T02:00:00+00:00")
    assert list(does_not_fit(Terms(), [9e9], at)) == []
