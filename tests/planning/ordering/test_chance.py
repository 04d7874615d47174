"""Numbers that look like chance, the same for the same seed."""

from orchestrator.planning.ordering.chance import Chance


def test_the_same_seed_gives_the_same_numbers() -> None:
    """Two sources of one seed never differ; of two seeds they soon do."""
    one, same, other = Chance(7), Chance(7), Chance(8)
    line = [one.below(1000) for _ in range(50)]
    assert line == [same.below(1000) for _ in range(50)]
    assert line != [other.below(1000) for _ in range(50)]


def test_numbers_stay_below_the_limit_and_all_come() -> None:
    """Every figure of a small range comes about equally often."""
    chance = Chance(1)
    counted = [0] * 6
    for _ in range(6000):
        counted[chance.below(6)] += 1
    assert all(850 < count < 1150 for count in counted)
