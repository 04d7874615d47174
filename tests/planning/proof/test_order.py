import random
from dataclasses import replace

import pytest

from orchestrator.facility.step import Sequence, Step, StepKind
from orchestrator.planning.proof.order import BadOrder, Order
from tests.planning.graphs import closure


def _step(name: str, *after: str, phase: int = 0) -> Step:
    return Step(
        id=name,
        kind=StepKind.SAVE,
        device=f"d{name}",
        at="127.44.3.31",
        as_found=None,
        wanted=None,
        after=after,
        phase=phase,
    )


def _order(*steps: Step) -> Order:
    return Order(Sequence(steps=steps))


def test_steps_in_a_circle_are_refused() -> None:
    """Three steps that wait for one another are no order, and one of them is named."""
    with pytest.raises(BadOrder, match="waits for itself") as caught:
        _order(_step("1", "3"), _step("2", "1"), _step("3", "2"), _step("4"))
    assert caught.value.step in {"1", "2", "3"}


def test_soft_orders_count_for_circles_only() -> None:
    """They promise nothing to the proof, but what waits and stands in a circle never starts."""
    first, then = _step("1"), replace(_step("2"), behind=("1",))
    order = _order(then, first)
    assert not order.before(first, then)
    with pytest.raises(BadOrder, match="stands behind itself"):
        _order(_step("1", "2"), then)
    with pytest.raises(BadOrder, match="a later phase"):
        _order(then, _step("1", phase=1))


def test_a_soft_order_to_what_is_not_there_is_none() -> None:
    """It would hold nothing back."""
    order = _order(replace(_step("1"), behind=("9",)), _step("2", "1"))
    assert order.before(order.steps["1"], order.steps["2"])


def test_a_step_that_waits_for_itself_is_refused() -> None:
    """The smallest circle is a circle."""
    with pytest.raises(BadOrder):
        _order(_step("1", "1"))


def test_an_unknown_step_is_refused() -> None:
    """A step that waits for one that is not there is named."""
    with pytest.raises(BadOrder, match="9, which is not there") as caught:
        _order(_step("1"), _step("2", "9"))
    assert caught.value.step == "2"


def test_a_later_phase_can_not_be_waited_for() -> None:
    """A step of the first phase that waits for one of the second is refused."""
    with pytest.raises(BadOrder, match="later phase"):
        _order(_step("1", "2"), _step("2", phase=1))


def test_one_id_twice_is_refused() -> None:
    """Two steps with one id can't be told apart."""
    with pytest.raises(BadOrder, match="one id"):
        _order(_step("1"), _step("1"))


def test_phases_order_what_no_step_orders() -> None:
    """All of a phase is proved before any of the next starts, and never the other way."""
    one, two = _step("1"), _step("2", phase=1)
    order = _order(two, one)
    assert order.before(one, two)
    assert not order.before(two, one)
    assert order.in_order([two, one]) == [one, two]


def test_a_step_named_twice_in_after_counts_once() -> None:
    """Doubled names in ``after`` change nothing."""
    one = _step("1")
    two = replace(_step("2"), after=("1", "1"))
    assert _order(one, two).before(one, two)


@pytest.mark.parametrize("seed", range(30))
def test_before_is_the_transitive_closure(seed: int) -> None:
    """Against networkx: one step comes before another exactly where a path leads to it."""
    rng = random.Random(seed)
    count = rng.randint(2, 12)
    after = {i: [j for j in range(i) if rng.random() < 0.25] for i in range(count)}
    steps = [_step(str(i), *map(str, after[i])) for i in range(count)]
    shuffled = rng.sample(steps, count)
    order = _order(*shuffled)
    follows = {j: [i for i in after if j in after[i]] for j in range(count)}
    pairs = closure(follows)
    for i in range(count):
        for j in range(count):
            if i != j:
                assert order.before(steps[i], steps[j]) == ((i, j) in pairs)
    line = [int(step.id) for step in order.in_order(shuffled)]
    assert all(line.index(j) < line.index(i) for i in after for j in after[i])
