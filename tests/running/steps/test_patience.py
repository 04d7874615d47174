"""Waiting without a clock."""

import pytest

from orchestrator.running.steps.patience import Patience, growing


def test_waits_grow_and_add_up() -> None:
    """Four waits, each twice the one before, that come to the time given."""
    assert growing(15.0) == (1.0, 2.0, 4.0, 8.0)
    assert sum(growing(0.5)) == pytest.approx(0.5)


def test_lateness_is_waited_out_exactly_and_settling_once_more() -> None:
    """A late write has late_s and no more; a device that settles gets its time twice."""
    patience = Patience(late_s=15.0, settle_s=30.0)
    assert sum(patience.late()) == pytest.approx(15.0)
    assert sum(patience.settle()) == pytest.approx(60.0)
