"""Rehearsals as people and programs read them."""

import json

from orchestrator.reports import rehearsal as report
from orchestrator.reports.rehearsal import Rehearsed
from orchestrator.running.rehearsed import Fault, Held, Rehearsal, Time, Trouble

WHAT = Rehearsed(facility="Test", steps=9, digest="abc", estimate_s=30.0)
FINE = Time(seed=1, finished=True, seconds=12.0, silent={"a/s": 2.0})
FAULT = Fault("a", Trouble.REBOOTS)
HELD = Time(
    seed=2,
    faults=(FAULT,),
    finished=False,
    resumes=2,
    seconds=3.0,
    held=(Held("a", "a/s: switch on", "no answer"),),
    left_silent=("a/s",),
)
WRONG = Time(seed=3, faults=(FAULT,), finished=True, seconds=5.0, broken=("H1: number 311 twice",))
STUCK = Time(seed=4, finished=False, resumes=None, seconds=3.0)


def _calm(*times: Time) -> Rehearsal:
    return Rehearsal(given="", calm=True, times=times)


def _troubled(*times: Time) -> Rehearsal:
    return Rehearsal(given="1 drawn by chance each time", calm=False, times=times)


def test_clean_is_no_broken_rule_and_no_pause_without_a_fault() -> None:
    """A pause under a fault is what the fault was for."""
    assert report.clean([_calm(FINE), _troubled(FINE, HELD)])
    assert not report.clean([_calm(HELD)])
    assert not report.clean([_troubled(WRONG)])


def test_a_broken_rule_comes_first_with_the_way_to_see_it_again() -> None:
    """Before anything else, and its seed."""
    text = report.text([_troubled(FINE, WRONG)], WHAT)
    lines = text.splitlines()
    assert any("SAFETY RULE WAS BROKEN" in line for line in lines[:4])
    assert "number 311 twice" in text
    assert "--seed 3 --times 1 --fault a=reboots" in text
    assert report.again(FINE) == "--seed 1 --times 1 --faults 0"


def test_what_happened_is_told() -> None:
    """How often it finished, how long it took, what it paused on, what was silent."""
    text = " ".join(report.text([_troubled(FINE, HELD, STUCK)], WHAT).split())
    for words in (
        "Finished by itself: 1 of 3.",
        "one to 2 times 'resume' once the trouble was over: 1.",
        "no 'resume' finished it; 'undo' is the way: 1.",
        "12 s (median), 12 s (95 of 100",
        "The dry-run says about 30 s.",
        "a/s 2.0 s",
        "a/s 1 of 3",
        "1 of 3 a/s: switch on: no answer",
        "Digest of the sequence: abc",
    ):
        assert words in text, words


def test_it_fits_a_terminal() -> None:
    """80 columns."""
    long = Held("a" * 30, f"{'a' * 30}/{'b' * 30}: switch on", "no answer " * 20)
    times = [Time(seed=n, finished=False, seconds=1.0, held=(long,)) for n in range(3)]
    text = report.text([_troubled(*times)], WHAT)
    assert max(map(len, text.splitlines())) <= 80


def test_the_json_says_the_same() -> None:
    """With its schema, and figures as figures."""
    made = report.as_json([_calm(FINE), _troubled(FINE, HELD, WRONG, STUCK)], WHAT)
    document = json.loads(json.dumps(made))
    assert document["schema"] == "cutsheet/rehearsal/1"
    assert document["clean"] is False
    calm, troubled = document["rehearsals"]
    assert (calm["finished"], calm["median_s"], calm["p95_s"]) == (1, 12.0, 12.0)
    assert (troubled["finished"], troubled["resumed"], troubled["stuck"]) == (2, 1, 1)
    assert troubled["silence"] == [{"what": "a/s", "worst_s": 2.0}]
    assert troubled["paused_on"][0]["times"] == 1
    assert troubled["broken"] == [
        {"seed": 3, "faults": ["a=reboots"], "rules": ["H1: number 311 twice"]}
    ]
