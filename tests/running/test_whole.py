"""What a run is made of: the refusals themselves are tried beside the run."""

from orchestrator.running.whole import check, devices_of
from tests.running.made_up import EXPECTS, SEQUENCE


def test_a_whole_sequence_passes() -> None:
    """Nothing is missing in the made-up change."""
    check(SEQUENCE, EXPECTS, ())


def test_the_devices_each_once() -> None:
    """In the order of their first steps."""
    assert devices_of(SEQUENCE) == ("north", "south", "node", "fresh")
