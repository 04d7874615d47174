"""The requests of a step are counted as the description is written."""

from orchestrator.documents.devices.requests import requests_of
from orchestrator.facility.step import StepKind
from tests.example import example

K = StepKind
DESCRIPTIONS = example().descriptions


def test_a_step_about_one_part() -> None:
    """Identity and part before, the write, identity and part after; a confirm looks once."""
    corvid = requests_of(DESCRIPTIONS["corvid-engine"])
    assert {corvid[kind] for kind in (K.DISABLE, K.RENUMBER, K.ENABLE, K.REPOINT)} == {5}
    assert (corvid[K.CONFIRM], corvid[K.BY_HAND]) == (2, 0)


def test_a_save_looks_at_everything_twice() -> None:
    """Info, ports, senders, receivers, clock and what is pending; each path once a look."""
    tamarisk = requests_of(DESCRIPTIONS["tamarisk-node"])
    assert tamarisk[K.SAVE] == 6 + 1 + 6


def test_a_readdress_is_looked_at_twice_before_and_read_back_by_its_confirm() -> None:
    """Identity, ports and senders, before and after the look at its new address; the write."""
    assert requests_of(DESCRIPTIONS["tamarisk-node"])[K.READDRESS] == 3 + 3 + 1


def test_they_are_among_the_traits() -> None:
    """So that an estimate counts them."""
    for description in DESCRIPTIONS.values():
        assert description.traits.requests == requests_of(description)


def test_what_it_has_no_write_for_is_not_counted() -> None:
    """A Corvid can't save."""
    assert K.SAVE not in requests_of(DESCRIPTIONS["corvid-engine"])
