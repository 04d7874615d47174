"""The judge: quiet over what is safe, and each rule seen broken."""

from collections.abc import Callable
from dataclasses import replace
from random import Random

import pytest

from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import Sequence, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.scene import Scene
from orchestrator.rehearsal.site import Site
from orchestrator.running.rehearsed import Fault, Trouble
from orchestrator.running.steps import life
from orchestrator.running.steps.life import LIFE, Goes, Happening, Stage
from tests.planning.hand import (
    apart,
    chain,
    dropped,
    exchange,
    join,
    readdress,
    ring,
    safe,
    step,
    with_device,
)
from tests.planning.mutants import mutant
from tests.planning.scenes import Box, random_boxes, scene
from tests.planning.simulator import run as simulated
from tests.rehearsal.premises_of import broken, premises, rehearsed

Wrong = Callable[[], tuple[Scene, Sequence]]


def _second_takes_first() -> tuple[Scene, Sequence]:
    where, sequence = safe(chain())
    first = step(sequence, StepKind.RENUMBER, "b/s")
    return where, apart(sequence, first, step(sequence, StepKind.RENUMBER, "a/s"))


def _unsaved_number_taken() -> tuple[Scene, Sequence]:
    where, sequence = safe(chain(Saves.ON_SAVE))
    for _ in range(2):  # the one before the number is taken, and the one at the end
        sequence = dropped(sequence, step(sequence, StepKind.SAVE, "b"))
    return where, sequence


def _onto_an_absent_device() -> tuple[Scene, Sequence]:
    where, sequence = safe(readdress())
    absent = scene({"z": Box(40, absent=True)}).plan.devices
    return replace(where, plan=replace(where.plan, devices={**where.plan.devices, **absent})), (
        sequence
    )


def _renumbered_while_on() -> tuple[Scene, Sequence]:
    where, sequence = safe(chain())
    off = step(sequence, StepKind.DISABLE, "b/s")
    on = step(sequence, StepKind.ENABLE, "b/s")
    return where, dropped(dropped(sequence, off), on)


def _readdressed_while_on() -> tuple[Scene, Sequence]:
    where, sequence = safe(readdress())
    off = step(sequence, StepKind.DISABLE, "b/s")
    on = step(sequence, StepKind.ENABLE, "b/s")
    return where, dropped(dropped(sequence, off), on)


def _unconfirmed() -> tuple[Scene, Sequence]:
    where, sequence = safe(join())
    return where, dropped(sequence, step(sequence, StepKind.CONFIRM, "new"))


def _off_limits() -> tuple[Scene, Sequence]:
    where, sequence = safe(chain())
    return with_device(where, "b", off_limits="feeds the alert inserter"), sequence


def _on_air() -> tuple[Scene, Sequence]:
    where, sequence = safe(chain())
    return replace(where, plan=replace(where.plan, on_air=(Ref("c", "in"),))), sequence


def _listener_forgotten() -> tuple[Scene, Sequence]:
    boxes = chain()
    boxes["c"].hears = {"in": 312}
    where, sequence = safe(boxes)
    return where, dropped(sequence, step(sequence, StepKind.REPOINT, "c/in"))


WRONGS = [
    ("H1", _second_takes_first),
    ("H9", _unsaved_number_taken),
    ("H2", _onto_an_absent_device),
    ("H3", _renumbered_while_on),
    ("H4", _readdressed_while_on),
    ("H5", _unconfirmed),
    ("H6", _off_limits),
    ("H6", _on_air),
    ("H8", _listener_forgotten),
]


@pytest.mark.parametrize(("rule", "wrong"), WRONGS)
def test_a_broken_rule_is_seen(rule: str, wrong: Wrong, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each rule, broken by hand in a sequence that was safe, by a machine that looks no further."""
    monkeypatch.setattr("orchestrator.running.steps.reading._switched_on", lambda *_: ())
    assert rule in broken(premises(*wrong()))


@pytest.mark.parametrize("boxes", [chain, ring, readdress, exchange, join])
def test_what_is_safe_is_not_blamed(boxes: Callable[[], dict]) -> None:  # type: ignore[type-arg]  # any of them
    """The sequences that the planner makes break nothing."""
    where, sequence = safe(boxes())
    assert not broken(premises(where, sequence))


def test_a_write_without_a_read_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """H7: a machine that writes at once is told."""
    row = (Stage.INTENDING, Happening.INTENDED)
    monkeypatch.setattr(life, "LIFE", {**LIFE, row: Goes(Stage.SENDING)})
    assert "H7" in broken(premises(*safe(chain())), seeds=[1])


def test_a_release_lets_the_run_at_what_is_protected() -> None:
    """What is released by name is not held against it."""
    assert not broken(premises(*_off_limits(), released=frozenset({"b"})))
    assert not broken(premises(*_on_air(), released=frozenset({"c/in"})))


def test_what_another_hand_does_is_not_the_runs_doing() -> None:
    """Whatever somebody else changes, and whenever."""
    what = premises(*safe(chain()))
    for seed in range(20):
        assert not rehearsed(what, Fault("b", Trouble.OTHER_HAND), seed=seed).broken


def test_what_another_hand_silenced_on_air_is_judged_again_once_it_is_back() -> None:
    """The run is not blamed meanwhile, and is blamed for what it silences itself."""
    here = Site(premises(*_on_air()), (), Random(1))
    listener, source = here.units["c"], here.units["a"]
    there = listener.running.destinations["in"]
    off = step(here.premises.sequence, StepKind.DISABLE, "a/s")
    assert here.holdings.pointed(Ref("c", "in")) == {"a/s"}
    here._set(listener, "in", replace(there, hears=None))
    source.do(off)
    here._look(source, because="s1")
    assert here.judge.broken == []
    source.do(replace(off, wanted=True))
    here._look(source, because="s2")
    here._set(listener, "in", there)
    source.do(off)
    here._look(source, because="s3")
    assert [one[:2] for one in here.judge.broken] == ["H6"]


def test_who_comes_to_a_number_that_a_playbook_names_may_be_heard() -> None:
    """Though the destination pointed there all the while, or the source comes from a bench."""
    stays = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(32, hears={"in": 312}, listens={"in": ListensTo(number=312)}),
    }
    assert not broken(premises(*safe(stays)))
    joins = {
        "new": Box(50, {"s": (501, True)}, at="127.0.2.50", to="127.44.3.50"),
        "b": Box(32, hears={"in": 312}, listens={"in": ListensTo(number=501)}),
    }
    joins["new"].wants = {"s": (501, True)}
    assert not broken(premises(*safe(joins)))


@pytest.mark.parametrize("first", range(0, 60, 20))
def test_random_facilities_break_nothing(first: int) -> None:
    """Whatever the planner calls safe, the judge calls safe too."""
    for seed in range(first, first + 20):
        where = scene(random_boxes(seed))
        planned = dry_run(where)
        if planned.stopped or not planned.sequence.steps:
            continue
        assert not broken(premises(where, planned.sequence), seeds=[seed]), seed


def test_judge_and_simulator_agree_on_mutants() -> None:
    """Of sequences that a simulator of its own finds wrong, the judge finds many wrong, too.

    Not all: the machine reads before it writes, and refuses what the simulator just does.
    """
    seen = 0
    for seed in range(60):
        where = scene(random_boxes(seed))
        planned = dry_run(where)
        if planned.stopped or len(planned.sequence.steps) < 3:
            continue
        wrong = mutant(planned.sequence, Random(seed))
        if not simulated(where, wrong, seed).broken:
            continue
        try:
            found = broken(premises(where, wrong), seeds=range(4))
        except ValueError:
            continue  # no order at all: the machine refuses it
        seen += bool(found)
    assert seen >= 5
