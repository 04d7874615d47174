"""What playbooks ask for: not said is not asked."""

from orchestrator.facility.wanted import AskedDevice, AskedSource, Auto, Unit


def test_a_device_named_without_more_asks_for_nothing() -> None:
    """What is None or empty stays as it is; a unit is known unless said otherwise."""
    asked = AskedDevice(name="a", playbook="playbooks/a.yaml")
    assert asked.unit is Unit.KNOWN
    assert (asked.reach_at, asked.blocks, asked.numbers) == (None, None, None)
    assert not asked.addresses
    assert not asked.sources
    source = AskedSource(name="x")
    assert (source.number, source.groups, source.label, source.enabled) == (None,) * 4


def test_words_for_numbers_that_are_no_figures() -> None:
    """They are what a playbook writes."""
    assert Auto("auto") is Auto.AUTO
    assert Auto("unassigned") is Auto.UNASSIGNED
