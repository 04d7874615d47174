"""The fewest writes: a table of parallel moves, a graph library's count, and a search.

The table is the parallel-move problem: L. Rideau, B. P. Serpette, X. Leroy, "Tilting at windmills
with Coq: formal verification of a compilation algorithm for parallel moves", Journal of Automated
Reasoning 40(4), 2008: moves done one after another, a cycle broken by one temporary.
"""

import random
from collections import deque
from dataclasses import replace
from itertools import permutations

import pytest

from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import Network
from orchestrator.facility.step import Assigned, StepKind
from tests.planning import graphs, hand
from tests.planning.scenes import MEDIA, NUMBERING, Box, address

SPARE = 2990


def _media(spare: int) -> Network:
    transit = NumberRange(SPARE, SPARE + spare - 1) if spare else None
    return replace(MEDIA, numbering=replace(NUMBERING, transit=transit))


def _boxes(moves: dict[int, int]) -> dict[str, Box]:
    """One source a device: the one that holds ``before`` is wanted on ``after``."""
    return {
        f"d{before}": Box(before, {"s": (before, True)}, wants={"s": (after, None)})
        for before, after in moves.items()
    }


def _writes(moves: dict[int, int], spare: int) -> list[tuple[int, int]] | None:
    """The renumbers planned, in order, or None where the dry-run stops."""
    planned = hand.planned(_boxes(moves), media=_media(spare))
    if planned.stopped:
        return None
    return [
        (step.as_found.number or 0, step.wanted.number or 0)
        for step in planned.sequence.steps
        if step.kind is StepKind.RENUMBER
        and isinstance(step.as_found, Assigned)
        and isinstance(step.wanted, Assigned)
    ]


def _cycles(moves: dict[int, int]) -> int:
    """The cycles of who-moves-where, that is of more than one member."""
    return len([ring for ring in graphs.rings({k: [v] for k, v in moves.items()}) if len(ring) > 1])


@pytest.mark.parametrize(
    ("moves", "spare", "writes"),
    [
        ({1: 2, 2: 3, 3: 4}, 1, [(3, 4), (2, 3), (1, 2)]),
        ({1: 2, 2: 1}, 1, [(1, 2990), (2, 1), (2990, 2)]),
        ({1: 2, 2: 3, 3: 1}, 1, [(1, 2990), (3, 1), (2, 3), (2990, 2)]),
    ],
    ids=["chain", "swap", "ring of three"],
)
def test_the_table_of_parallel_moves(
    moves: dict[int, int], spare: int, writes: list[tuple[int, int]]
) -> None:
    """Chain, swap and ring come out as in the published table."""
    assert _writes(moves, spare) == writes


def test_two_swaps_share_one_spare() -> None:
    """Six writes, one after another on the one spare number, never both on it at once."""
    writes = _writes({1: 2, 2: 1, 3: 4, 4: 3}, 1)
    assert writes is not None
    assert len(writes) == 6
    held = {1: 1, 2: 2, 3: 3, 4: 4}
    for before, after in writes:
        assert after not in held
        held[after] = held.pop(before)
    assert held == {2: 1, 1: 2, 4: 3, 3: 4}


def test_a_swap_without_a_spare_is_a_hazard() -> None:
    """No transit number: the dry-run stops and says to set one aside."""
    planned = hand.planned(_boxes({1: 2, 2: 1}), media=_media(0))
    (hazard,) = planned.hazards
    assert (hazard.name, hazard.rule, hazard.blocks) == ("no-transit:d1/s", "H1", True)
    assert "transit" in hazard.fix
    assert planned.sequence.steps == ()


def test_a_chain_needs_no_spare() -> None:
    """Only rings borrow."""
    assert _writes({1: 2, 2: 3}, 0) == [(2, 3), (1, 2)]


@pytest.mark.parametrize("seed", range(120))
def test_writes_are_changes_and_cycles(seed: int) -> None:
    """The count of renumbers is changes plus cycles, as networkx counts the cycles."""
    rng = random.Random(seed)
    count = rng.randint(1, 7)
    before = rng.sample(range(1, 25), count)
    after = [
        rng.randint(30, 40) + 10 * i if rng.random() < 0.25 else n for i, n in enumerate(before)
    ]
    rng.shuffle(after)
    moves = dict(zip(before, after, strict=True))
    changes = sum(one != other for one, other in moves.items())
    writes = _writes(moves, 2)
    assert writes is not None
    assert len(writes) == changes + _cycles(moves)


def _search(moves: dict[int, int], spare: int) -> int | None:
    """The fewest writes by breadth-first search over all states; knows only the rule H1."""
    start = tuple(moves)
    goal = tuple(moves.values())
    numbers = {*start, *goal, *range(SPARE, SPARE + spare)}
    far = {start: 0}
    line = deque([start])
    while line:
        state = line.popleft()
        if state == goal:
            return far[state]
        for place in range(len(state)):
            for number in numbers - set(state):
                new = (*state[:place], number, *state[place + 1 :])
                if new not in far:
                    far[new] = far[state] + 1
                    line.append(new)
    return None


@pytest.mark.parametrize("spare", [0, 1, 2])
@pytest.mark.parametrize("count", [1, 2, 3])
def test_no_order_at_all_has_fewer_writes(count: int, spare: int) -> None:
    """Every way to move up to three sources among four numbers, against exhaustive search.

    Where there is no spare the search may still borrow a number that is vacant by chance, which
    the tool never does: a ring then stops instead.
    """
    start = (1, 2, 3)[:count]
    for goal in permutations((1, 2, 3, 4), count):
        moves = dict(zip(start, goal, strict=True))
        writes = _writes(moves, spare)
        if writes is None:
            assert spare == 0
            assert _cycles(moves)
            continue
        assert len(writes) == _search(moves, spare), moves


def test_a_ring_without_spare_can_not_be_done_by_anybody() -> None:
    """The search agrees that a ring over all numbers there are has no order."""
    assert _search({1: 2, 2: 1}, 0) is None
    assert _search({1: 2, 2: 3, 3: 1}, 0) is None
    assert _writes({1: 2, 2: 3, 3: 1}, 0) is None


@pytest.mark.parametrize("seed", range(40))
def test_addresses_exchange_with_as_few_writes(seed: int) -> None:
    """Readdresses: changes plus cycles as well, each confirmed."""
    rng = random.Random(seed)
    hosts = rng.sample(range(31, 60), rng.randint(2, 5))
    goals = [rng.randint(70, 75) + 10 * i if rng.random() < 0.2 else h for i, h in enumerate(hosts)]
    rng.shuffle(goals)
    moves = dict(zip(hosts, goals, strict=True))
    boxes = {f"d{h}": Box(h, to=address(g)) for h, g in moves.items() if h != g}
    boxes |= {f"d{h}": Box(h) for h, g in moves.items() if h == g}
    planned = hand.planned(boxes)
    assert not planned.stopped
    kinds = [step.kind for step in planned.sequence.steps]
    expected = sum(h != g for h, g in moves.items()) + _cycles(moves)
    assert kinds.count(StepKind.READDRESS) == kinds.count(StepKind.CONFIRM) == expected
