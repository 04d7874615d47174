import json
from typing import Any

import pytest

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.nmos import active as active_of
from tests.adapters.nodes import GROUP, OTHER, ear, hearing, leg, sending
from tests.amwa import STANDARDS, needs_schemas


def example(name: str) -> Any:
    """A published example of AMWA IS-05 v1.1."""
    path = STANDARDS / "is-05" / "examples" / f"{name}.json"
    return json.loads(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("held", [None, [], {}, {"transport_params": []}, {"transport_params": {}},
                                  {"transport_params": [5]}])  # fmt: skip
def test_legs_that_make_no_sense(held: Any) -> None:
    """There is at least one, and each is an object."""
    with pytest.raises(Unusable):
        active_of.legs(held)


@pytest.mark.parametrize("held", [None, {}, {"master_enable": 1}, {"master_enable": "true"}])
def test_a_switch_that_makes_no_sense(held: Any) -> None:
    """It is true or false."""
    with pytest.raises(Unusable):
        active_of.master_enable(held)


@pytest.mark.parametrize(
    ("address", "port", "group"),
    [
        ("239.1.2.3", 5004, "239.1.2.3:5004"),
        ("auto", 5004, None),
        ("239.1.2.3", "auto", None),
        (None, 5004, None),
        ("192.0.2.1", 5004, None),
        ("ff02::1", 5004, None),
        ("239.1.2.3", 0, None),
        ("239.1.2.3", 65536, None),
        ("239.1.2.3", True, None),
        ("239.1.2.3", "5004", None),
    ],
)
def test_groups(address: Any, port: Any, group: str | None) -> None:
    """An IPv4 multicast address with a port; auto is none."""
    assert active_of.group(leg(address, port), "destination_ip") == group
    assert active_of.sent_to(sending(leg(address, port), leg())) == (group, GROUP)


def test_a_sender_holds_its_group_whether_it_runs_or_not() -> None:
    """On a leg that is off too: a hand may switch it on."""
    off = sending(leg(rtp_enabled=False), leg("239.194.1.200"), on=False)
    assert active_of.sent_to(off) == (GROUP, OTHER)
    assert not active_of.enabled(off)


def test_enabled_means_that_something_is_sent() -> None:
    """The master switch and one leg; a leg runs unless it says not."""
    silent = leg(rtp_enabled=False)
    assert active_of.enabled(sending(silent, leg()))
    assert not active_of.enabled(sending(silent, silent))
    bare = {"destination_ip": "239.1.2.3"}
    assert active_of.enabled(sending(bare))


def test_what_a_receiver_hears() -> None:
    """The first leg that runs; nothing while it is off, whatever it was pointed at last."""
    assert active_of.heard(hearing()) == GROUP
    assert active_of.heard(hearing(on=False)) is None
    assert active_of.heard(hearing(ear(rtp_enabled=False), ear("239.194.1.200"))) == OTHER
    assert active_of.heard(hearing(ear(None))) is None
    assert active_of.heard_by_leg(hearing(ear(), ear(None))) == (GROUP, None)
    assert active_of.heard_by_leg(hearing(on=False)) == ()


def test_addresses() -> None:
    """IPv4 only."""
    assert active_of.address({"a": "192.0.2.1"}, "a") == "192.0.2.1"
    for value in ("auto", None, 5, "::1", "host"):
        assert active_of.address({"a": value}, "a") is None


@needs_schemas
def test_the_published_examples_are_read() -> None:
    """Those of AMWA IS-05 v1.1; a stream that was never activated holds nothing."""
    assert active_of.sent_to(example("sender-stage-success")) == ("232.105.26.177:5000",)
    one_host = example("sender-active-get")
    assert (active_of.sent_to(one_host), active_of.enabled(one_host)) == ((None, None), True)
    assert active_of.sent_to(example("sender-get-200-uninit")) == (None,)
    assert active_of.heard(example("receiver-active-get-200")) == "232.250.98.80:5010"
    assert active_of.heard(example("receiver-get-200-uninit")) is None
