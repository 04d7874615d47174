"""How long sources and listeners are silent in a rehearsal."""

import pytest

from orchestrator.facility.step import StepKind
from orchestrator.running.rehearsed import Fault, Trouble
from tests.planning.hand import chain, join, step
from tests.rehearsal.premises_of import of, rehearsed, site


def test_a_source_and_its_listener_are_silent_as_long() -> None:
    """From when it is switched off until it is on again, on the virtual clock."""
    here = site(chain())
    sequence = here.premises.sequence
    unit = here.units["a"]
    unit.do(step(sequence, StepKind.DISABLE, "a/s"))
    here.silences.look(unit, here.judge.changed(unit, "off"), 10.0)
    assert set(here.silences.now) == {"a/s", "c/in"}
    unit.do(step(sequence, StepKind.ENABLE, "a/s"))
    here.silences.look(unit, here.judge.changed(unit, "on"), 12.5)
    assert here.silences.now == ()
    assert here.silences.longest == {"a/s": 2.5, "c/in": 2.5}


def test_what_stands_on_a_bench_is_not_heard_and_not_silent() -> None:
    """A joining unit's sources are in no list of silences."""
    assert not {name for name in rehearsed(of(join())).silent if name.startswith("new/")}


def test_a_unit_that_went_away_is_silent_until_the_pause() -> None:
    """What does not come back is told apart from what did."""
    away = [rehearsed(of(chain()), Fault("a", Trouble.GOES_AWAY), seed=seed) for seed in range(10)]
    paused = [time for time in away if not time.finished]
    assert paused
    assert all({"a/s", "c/in"} <= set(time.left_silent) for time in paused)


def test_silence_is_as_the_requests_take() -> None:
    """Six requests of 50 ms, give or take a quarter, lie between off and on at least."""
    silent = rehearsed(of(chain())).silent["b/s"]
    assert silent == pytest.approx(0.5, abs=0.4)
