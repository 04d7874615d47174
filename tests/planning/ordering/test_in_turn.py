import pytest

from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.ordering import in_turn
from orchestrator.planning.ordering.in_turn import Loans, lend_in_turn
from tests.benchmarks.trouble import facility
from tests.planning.hand import verdict
from tests.planning.simulator import run

NOBODY: dict[int, set[int]] = {0: set(), 1: set(), 2: set(), 3: set()}


def _lend(
    waits: dict[int, set[int]], most: int, after: dict[int, set[int]] = NOBODY
) -> Loans | None:
    return lend_in_turn(sorted(waits), waits, after, lambda _: "numbers", {"numbers": most})


def test_a_ring_needs_one_loan() -> None:
    """Whoever borrows lets the next go home, and so all round."""
    assert _lend({0: {1}, 1: {2}, 2: {0}}, 1) == ((0, frozenset()),)


def test_two_rings_that_share_nothing_take_turns() -> None:
    """The second borrows when the first is home: nobody else has anything on loan then."""
    loans = _lend({0: {1}, 1: {0}, 2: {3}, 3: {2}}, 1)
    assert loans is not None
    assert [others for _, others in loans] == [frozenset(), frozenset()]


def test_three_who_all_wait_for_one_another_need_two_at_once() -> None:
    """With one to lend there is no way; with two the second borrows while the first is out."""
    waits = {0: {1, 2}, 1: {0, 2}, 2: {0, 1}}
    assert _lend(waits, 1) is None
    assert _lend(waits, 2) == ((0, frozenset()), (1, frozenset({0})))


def test_who_comes_after_waits_for_the_way_home() -> None:
    """A loan of one who has to be home first does not do."""
    waits = {0: {1}, 1: {0}}
    assert _lend(waits, 1, {0: {1}, 1: set()}) == ((0, frozenset()),)


def test_whoever_can_not_borrow_does_not() -> None:
    """A unit that joins has nothing that it could give up meanwhile."""
    waits = {0: {1}, 1: {0}}
    loans = lend_in_turn([0, 1], waits, NOBODY, lambda m: "n" if m else None, {"n": 1})
    assert loans == ((1, frozenset()),)


def test_where_there_is_too_much_to_look_at_nothing_is_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It gives up, and does not go on for ever."""
    monkeypatch.setattr(in_turn, "MOST_STATES", 2)
    assert _lend({0: {1, 2}, 1: {0, 2}, 2: {0, 1}}, 2) is None


@pytest.mark.parametrize("seed", [236, 695, 893])
def test_a_knot_that_needs_three_is_undone_with_two(seed: int) -> None:
    """On two legs, groups apart from numbers: one transit number is lent twice in one knot."""
    where = facility(seed)
    planned = dry_run(where)
    assert planned.proved
    assert not planned.stopped
    assert len(planned.lent) > len(set(planned.lent.values()))
    assert verdict(where, planned.sequence) == []
    assert run(where, planned.sequence, seed).broken == []
