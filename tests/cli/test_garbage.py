import gc
from collections.abc import Iterator

import pytest

from orchestrator.cli import garbage


@pytest.fixture(autouse=True)
def _as_before() -> Iterator[None]:
    before = gc.get_threshold()
    gc.set_threshold(700, 10, 10)
    yield
    gc.unfreeze()
    gc.set_threshold(*before)


def test_garbage_is_looked_for_more_seldom_and_still_looked_for() -> None:
    """The first threshold goes up, and is not 0, which would end all looking."""
    before = gc.get_threshold()
    garbage.look_seldom()
    assert gc.isenabled()
    assert all(now >= was > 0 for now, was in zip(gc.get_threshold(), before, strict=True))
    assert gc.get_threshold()[0] == garbage.BETWEEN_LOOKS > before[0]


def test_during_a_run_it_is_looked_for_often() -> None:
    """But not among what was there before the run."""
    garbage.look_seldom()
    there = [[number] for number in range(100)]
    garbage.look_often()
    assert gc.get_threshold() == garbage.IN_A_RUN
    assert gc.get_freeze_count() >= len(there)
