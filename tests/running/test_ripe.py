"""Which steps may start as far as the order goes, kept true step by step."""

import random
from dataclasses import replace

import pytest

from orchestrator.facility.step import Step, StepKind
from orchestrator.running.ripe import Ripe


def a_step(name: str, *after: str, order: int = 0) -> Step:
    """A step that comes after others."""
    return Step(
        id=name,
        kind=StepKind.DISABLE,
        device=name,
        at="127.44.3.31",
        as_found=True,
        wanted=False,
        source="a",
        after=after,
        order=order,
    )


def names(ripe: Ripe) -> list[str]:
    """Their ids."""
    return [step.id for step in ripe]


def test_a_step_is_ripe_once_all_that_it_comes_after_is_proved() -> None:
    """In schedule order; and no more once it is proved itself."""
    ripe = Ripe([a_step("a"), a_step("b", "a"), a_step("c"), a_step("d", "a", "c", "a")], set())
    assert names(ripe) == ["a", "c"]
    ripe.prove(["a"])
    assert names(ripe) == ["b", "c"]
    ripe.prove(["a", "c"])
    assert names(ripe) == ["b", "d"]


def test_a_step_in_hand_waits_no_more() -> None:
    """Neither one that is taken, nor one that was in hand before; once more is as good as once."""
    ripe = Ripe([a_step("a"), a_step("b"), a_step("c"), a_step("d", "a")], set(), {"b"})
    ripe.take(["a", "b"])
    assert names(ripe) == ["c"]
    ripe.prove(["a"])
    assert names(ripe) == ["c", "d"]


def test_it_begins_with_what_is_proved_already() -> None:
    """Of a run that is resumed."""
    ripe = Ripe([a_step("a"), a_step("b", "a"), a_step("c", "b")], {"a"})
    assert names(ripe) == ["b"]


@pytest.mark.parametrize("seed", range(20))
def test_it_is_what_looking_through_all_of_them_finds(seed: int) -> None:
    """Whichever way the steps end."""
    chance = random.Random(seed)
    steps = [a_step(f"s{n}", order=n) for n in range(60)]
    for n in range(1, 60):
        before = chance.sample(range(n), k=min(n, chance.randrange(4)))
        steps[n] = replace(steps[n], after=tuple(f"s{b}" for b in before))
    proved: set[str] = set()
    ripe = Ripe(steps, proved)
    while len(proved) < len(steps):
        expected = [s.id for s in steps if s.id not in proved and proved.issuperset(s.after)]
        assert names(ripe) == expected
        done = chance.choice(expected)
        proved.add(done)
        ripe.prove([done])
    assert names(ripe) == []
