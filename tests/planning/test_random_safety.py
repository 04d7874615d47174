"""The command that tries many random facilities, on a few of them, and its exhaustive search."""

import pytest

from tests.benchmarks.safety import main, one
from tests.benchmarks.search import Place, solve


def test_a_few_hundred_facilities_break_no_rule() -> None:
    """The whole of it: planner, proof, simulator and search agree."""
    assert main(["--seeds", "300", "--first", "50000", "--orders", "2"]) == 0


@pytest.mark.parametrize(
    ("here", "there", "spare", "possible"),
    [
        ((1, 2, 3), (2, 3, 4), (), True),
        ((1, 2), (2, 1), (9,), True),
        ((1, 2), (2, 1), (), False),
        ((1, 2, 3), (2, 3, 1), (9,), True),
        ((1, 2, 3, 4), (2, 1, 4, 3), (9,), True),
        ((1, 2, 3, 4), (2, 1, 4, 3), (), False),
    ],
)
def test_parallel_moves(
    here: tuple[int, ...], there: tuple[int, ...], spare: tuple[int, ...], *, possible: bool
) -> None:
    """A ring needs one spare place in all, a chain none.

    Source: Rideau, Serpette, Leroy, "Tilting at windmills with Coq: formal verification of a
    compilation algorithm for parallel moves", J. Automated Reasoning 40(4), 2008, pp. 307-326.
    """
    assert solve(_places(here), _places(there), _places(spare)) is possible


def _places(numbers: tuple[int, ...]) -> list[Place]:
    """What a source holds with each of some numbers."""
    return [frozenset({("number", "media", number)}) for number in numbers]


def test_what_is_refused_wrongly_is_told_with_the_way_to_see_it_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A search that finds a way where the planner found none makes the seed fail, in one line."""
    monkeypatch.setattr("tests.benchmarks.search.solve", lambda *_: True)
    refused = [told for seed in range(40) for told in one((seed, 1))[1]]
    assert refused
    assert "--first" in refused[0]
