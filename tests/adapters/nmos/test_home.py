import pytest

from orchestrator.adapters.nmos.home import rehomed
from orchestrator.facility.description import Json

OLD, NEW, BLUE, OTHER = "192.0.2.20", "192.0.2.21", "198.51.100.20", "203.0.113.9"


def rule(*allowed: str, name: str = "source_ip") -> Json:
    """A leg's constraints on its own address."""
    return {name: {"enum": list(allowed)}, "destination_ip": {}}


@pytest.mark.parametrize(
    ("constraints", "now", "then"),
    [
        ([rule(NEW)], [OLD], [NEW]),
        ([rule("auto", NEW)], [OLD], [NEW]),
        ([rule(OLD, NEW)], [OLD], [OLD]),
        ([rule(BLUE, NEW)], [OLD], [NEW]),  # the one that is spoken to
        ([rule(BLUE, OTHER)], [OLD], [OLD]),  # which of the two is not sure
        ([rule(NEW, BLUE)] * 2, [OLD, BLUE], [NEW, BLUE]),  # the other leg has kept its own
        ([rule(NEW, BLUE)] * 2, [BLUE, OLD], [BLUE, NEW]),
        ([rule(NEW, BLUE)] * 2, [OLD, OTHER], [OLD, OTHER]),  # both moved: which is which?
        ([rule(NEW), rule(BLUE)], [OLD, OTHER], [NEW, BLUE]),
        ([rule("auto")], [OLD], [OLD]),
        ([rule(NEW)], ["auto"], ["auto"]),
        ([{}], [OLD], [OLD]),
        (None, [OLD], [OLD]),
        ([], [OLD], [OLD]),
        (["x"], [OLD], [OLD]),
    ],
)
def test_an_address_that_the_host_has_no_more_is_replaced_where_it_is_sure(
    constraints: Json, now: list[str], then: list[str]
) -> None:
    """By what the constraints say that the host has now; all else of a leg stays as it is."""
    params = [{"source_ip": address, "rtp_enabled": True} for address in now]
    found = rehomed("senders", constraints, params, NEW)
    assert found == [{"source_ip": address, "rtp_enabled": True} for address in then]


def test_a_receivers_own_address_is_its_interfaces() -> None:
    """Its ``source_ip`` is the sender's, and none of its host's business."""
    params = [{"source_ip": OLD, "interface_ip": OLD, "multicast_ip": "239.1.1.1"}]
    constraints = [{**rule(NEW), **rule(NEW, name="interface_ip")}]
    assert rehomed("receivers", constraints, params, NEW) == [
        {"source_ip": OLD, "interface_ip": NEW, "multicast_ip": "239.1.1.1"}
    ]


def test_a_leg_that_says_nothing_of_it_says_nothing_afterwards() -> None:
    """Nothing is written that was not going to be."""
    assert rehomed("senders", [rule(NEW)], [{"rtp_enabled": False}], NEW) == [
        {"rtp_enabled": False}
    ]
