"""The plan with the playbooks laid over it."""

from dataclasses import replace

from orchestrator.facility.plan import ListensTo
from orchestrator.facility.wanted import AskedDestination, AskedSource, Auto
from orchestrator.planning.checks.wanted import as_wanted
from tests.planning.made_plan import RULES, asked, device, numbers, plan, playbook, source


def test_what_nobody_asks_for_stays() -> None:
    """Without playbooks, and beside them, the plan is the plan."""
    some = plan(device("a", 31, source("x", 311)), device("b", 41))
    assert as_wanted(some, ()) == some
    assert as_wanted(some, [playbook(asked("a", address=32))]).devices["b"] == some.devices["b"]


def test_a_new_address_may_be_of_another_network() -> None:
    """A unit moves from the bench onto the network that its new address is of."""
    fresh = device("a", "127.0.2.50", network="bench")
    moved = as_wanted(plan(fresh), [playbook(asked("a", address=33))]).devices["a"]
    assert (moved.interfaces[0].network, moved.address) == ("media", "127.44.3.33")


def test_an_address_for_a_device_that_had_none() -> None:
    """It joins its room's network."""
    moved = as_wanted(plan(device("a", None)), [playbook(asked("a", address=33))]).devices["a"]
    assert (moved.interfaces[0].network, moved.address) == ("media", "127.44.3.33")


def test_sources() -> None:
    """Numbers asked for, left to auto, let go; labels and the rest as they are."""
    before = device("a", 31, *(source(name, 311 + n) for n, name in enumerate("wxyz")))
    wanted = {
        **numbers(w=320, x=Auto.AUTO, y=Auto.UNASSIGNED, new=330),
        "z": AskedSource(name="z", label="Z"),
    }
    after = as_wanted(plan(before), [playbook(asked("a", sources=wanted))]).devices["a"].sources
    assert {name: item.number for name, item in after.items()} == {
        "w": 320,
        "x": None,
        "y": None,
        "z": 314,
        "new": 330,
    }
    assert after["z"].label == "Z"


def test_groups_that_are_the_numbers_own_follow_it() -> None:
    """A group that was chosen otherwise stays with its source."""
    own, chosen = RULES.group(311), "239.194.200.1:5004"
    before = device("a", 31, source("x", 311, own), source("y", 312, chosen))
    book = playbook(asked("a", sources=numbers(x=321, y=322)))
    after = as_wanted(plan(before), [book]).devices["a"].sources
    assert after["x"].groups is None
    assert after["y"].groups == (chosen,)


def test_destinations() -> None:
    """What is asked replaces what the plan says; what is not stays."""
    before = device("a", 31, hears={"in-1": ListensTo(number=1), "in-2": ListensTo(number=2)})
    asks = {"in-1": AskedDestination(name="in-1", listens_to=ListensTo(number=9))}
    book = playbook(replace(asked("a"), destinations=asks))
    after = as_wanted(plan(before), [book]).devices["a"].destinations
    assert [item.listens_to for item in after.values()] == [
        ListensTo(number=9),
        ListensTo(number=2),
    ]
