"""What rehearsals come to."""

import numpy as np
import pytest

from orchestrator.running.rehearsed import TROUBLE_WORDS, Fault, Held, Rehearsal, Time, Trouble


def _many(*times: Time) -> Rehearsal:
    return Rehearsal(given="", calm=False, times=times)


def test_every_trouble_has_its_words() -> None:
    """No kind is shown without them."""
    assert set(TROUBLE_WORDS) == set(Trouble)
    assert str(Fault("a", Trouble.SLOW)) == "a=slow"


@pytest.mark.parametrize("count", [1, 2, 5, 20, 99, 100])
def test_percentiles_are_those_of_numpy(count: int) -> None:
    """Reference: numpy.percentile with the method 'inverted_cdf' (Hyndman and Fan 1996, type 1)."""
    lasted = [float((7 * n) % 101) for n in range(count)]
    told = _many(*(Time(seed=n, finished=True, seconds=s) for n, s in enumerate(lasted)))
    for share in (0.5, 0.95):
        wanted = np.percentile(lasted, 100 * share, method="inverted_cdf")
        assert told.lasted(share) == pytest.approx(float(wanted))


def test_nothing_finished_has_no_median() -> None:
    """There is no figure where there is no run."""
    assert _many(Time(seed=1, finished=False, seconds=3.0)).lasted(0.5) is None


def test_the_worst_of_each_is_kept() -> None:
    """The longest silence of each source over all rehearsals, the worst first."""
    told = _many(
        Time(seed=1, finished=True, seconds=1, silent={"a/s": 1.0, "b/s": 4.0}),
        Time(seed=2, finished=True, seconds=1, silent={"a/s": 9.0}),
    )
    assert list(told.worst.items()) == [("a/s", 9.0), ("b/s", 4.0)]


def test_pauses_are_counted_by_what_they_were_on() -> None:
    """One that names the same step twice counts once."""
    held, other = Held("a", "a/s: off", "no answer"), Held("b", "b/s: off", "busy")
    told = _many(
        Time(seed=1, finished=False, seconds=1, held=(held, held), left_silent=("a/s",)),
        Time(seed=2, finished=False, seconds=1, held=(held, other), left_silent=("a/s", "b/s")),
        Time(seed=3, finished=True, seconds=1, broken=("H1: x",)),
    )
    assert told.held == {held: 2, other: 1}
    assert told.left_silent == {"a/s": 2, "b/s": 1}
    assert [time.seed for time in told.broken] == [3]
