"""Who holds a number or group is told by network; who was not found holds nothing."""

from ipaddress import IPv4Network

from orchestrator.facility.plan import Ref
from orchestrator.running.back.holders import holders_of, states_of
from tests.planning.scenes import Box, group, scene

MEDIA = IPv4Network("127.44.3.0/24")


def test_each_number_and_group_has_its_holders() -> None:
    """Two of a duplicate, in the order of the devices; a number and its group alike."""
    found = scene({"a": Box(31, {"s": (311, True)}), "b": Box(32, {"t": (311, False)})}).found
    holders = holders_of(states_of(found))
    both = [Ref("a", "s"), Ref("b", "t")]
    assert holders[MEDIA, 311] == both
    assert holders[MEDIA, group(311)] == both
    assert (MEDIA, 312) not in holders


def test_who_was_not_found_has_no_state() -> None:
    """So it holds nothing here; what the plan says of it is for others to heed."""
    found = scene(
        {"a": Box(31, {"s": (311, True)}), "b": Box(32, {"t": (312, True)}, absent=True)}
    ).found
    assert set(states_of(found)) == {"a"}
