from collections import Counter

import pytest

from orchestrator.planning.scheduling.chance import Chance


def test_the_same_seed_gives_the_same_numbers() -> None:
    """For ever: these were written down once."""
    chance = Chance(1)
    assert [chance.below(100) for _ in range(6)] == [74, 53, 96, 70, 34, 95]


@pytest.mark.parametrize("limit", [1, 2, 3, 7, 100])
def test_all_numbers_come_and_none_too_often(limit: int) -> None:
    """Each within a fifth of its share of 20,000."""
    chance = Chance(7)
    count = Counter(chance.below(limit) for _ in range(20_000))
    assert set(count) == set(range(limit))
    assert all(abs(each * limit / 20_000 - 1) < 0.2 for each in count.values())
