"""What goes wrong, and when."""

from random import Random

import pytest

from orchestrator.errors import CallError
from orchestrator.rehearsal.troubles import Troubles, check, possible, taken
from orchestrator.running.rehearsed import Fault, Trouble
from tests.planning.hand import chain, readdress, safe


def test_only_what_can_touch_the_run_is_possible() -> None:
    """Every trouble for each of its devices; a taken address only where one is moved."""
    _, sequence = safe(readdress())
    found = possible(sequence)
    assert {fault.device for fault in found} == {"a", "b"}
    assert Fault("a", Trouble.ADDRESS_TAKEN) in found
    _, sequence = safe(chain())
    assert Trouble.ADDRESS_TAKEN not in {fault.trouble for fault in possible(sequence)}


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (Fault("nobody", Trouble.SLOW), "does not touch nobody"),
        (Fault("a", Trouble.ADDRESS_TAKEN), "keeps its address"),
    ],
)
def test_a_fault_that_can_touch_nothing_is_refused(fault: Fault, said: str) -> None:
    """With what can be named instead."""
    _, sequence = safe(chain())
    with pytest.raises(CallError, match=said):
        check([fault], sequence)


def test_what_strikes_strikes_once() -> None:
    """At one of the requests, and never again; at its own device's, or at anybody's."""
    _, sequence = safe(chain())
    fault = Fault("a", Trouble.REBOOTS)
    by_others = 0
    for seed in range(40):
        troubles = Troubles([fault], sequence, Random(seed))
        others = [one for _ in range(100) for one in troubles.asked("b")]
        own = [one for _ in range(100) for one in troubles.asked("a")]
        assert [*others, *own] == [fault]
        by_others += len(others)
    assert 8 < by_others < 32


def test_losses_last_until_it_is_calm() -> None:
    """About one in three is lost; none once the trouble is over."""
    _, sequence = safe(chain())
    troubles = Troubles([Fault("a", Trouble.LOSES_ANSWERS)], sequence, Random(3))
    lost = sum(troubles.lost("a", Trouble.LOSES_ANSWERS) for _ in range(300))
    assert 60 < lost < 140
    assert not any(troubles.lost("a", Trouble.LOSES_REQUESTS) for _ in range(50))
    troubles.calm()
    assert not any(troubles.lost("a", Trouble.LOSES_ANSWERS) for _ in range(50))


def test_a_slow_device_is_slower() -> None:
    """Five to thirty times; the others keep their pace."""
    _, sequence = safe(chain())
    troubles = Troubles([Fault("a", Trouble.SLOW)], sequence, Random(3))
    assert 5 <= troubles.slower("a") <= 30
    assert troubles.slower("b") == 1


def test_the_address_that_is_taken_is_the_new_one() -> None:
    """Where the device is to be in the end."""
    _, sequence = safe(readdress())
    assert taken([Fault("a", Trouble.ADDRESS_TAKEN)], sequence) == {"a": "127.44.3.32"}
