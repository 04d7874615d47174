"""What a kit tries an adapter on."""

from orchestrator.adapters.conformance import Trouble


def test_every_trouble_says_what_it_is() -> None:
    """Words in which a skipped test can be told."""
    assert all(" " in trouble.value for trouble in Trouble)
    assert len({trouble.value for trouble in Trouble}) == len(Trouble)
