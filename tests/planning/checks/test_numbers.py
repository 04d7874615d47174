"""Channel numbers, blocks and groups.

Numbers begin with the host part, ten to a host, the next host's ten when one block is too small:
common practice, no source.
"""

from dataclasses import replace
from ipaddress import IPv4Network

import pytest

from orchestrator.facility.plan import Interface, Network, Plan
from orchestrator.facility.wanted import Auto
from tests.planning.made_plan import (
    BENCH,
    MEDIA,
    RULES,
    asked,
    device,
    found,
    numbers,
    one,
    plan,
    playbook,
    source,
)


def test_one_number_held_twice() -> None:
    """Told once, at whoever does not own it, whichever of the two comes first."""
    owner, other = device("a", 31, source("x", 311)), device("b", 41, source("y", 311))
    for some in (plan(owner, other), plan(other, owner)):
        finding = one(some)
        assert finding.what == "number 311 is held twice on media: by a/x and by b/y"
        assert finding.path == ("devices", "b", "sources", "y", "number")


def test_three_holders_are_two_faults() -> None:
    """Each holder after the first has to get another number."""
    devices = [device(name, host, source("x", 311)) for name, host in (("a", 31), ("b", 41))]
    told = found(plan(*devices, device("c", 51, source("x", 311))))
    assert [item.path[1] for item in told] == ["b", "c"]


def test_twice_in_one_device() -> None:
    """Two sources of one device hold two numbers."""
    assert (
        "by a/x and by a/y" in one(plan(device("a", 31, source("x", 311), source("y", 311)))).what
    )


@pytest.mark.parametrize(
    ("number", "what"),
    [
        (3000, "outside the range 1-2999"),
        (2995, "in transit 2990-2999"),
        (415, "belongs to b"),
        (420, None),
        (310, None),
        (2989, None),
    ],
)
def test_where_a_number_may_be(number: int, what: str | None) -> None:
    """In range, out of transit, and not in another's block; nobody's block is free to use."""
    some = plan(device("a", 31, source("x", number)), device("b", 41))
    if what is None:
        assert found(some) == []
    else:
        assert what in one(some).what


def test_a_listed_number_is_its_owners_even_inside_anothers_block() -> None:
    """What a device lists is its own; what lies in its block and is listed elsewhere is not."""
    lister = device("a", 31, source("x", 415), numbers=(415,))
    assert found(plan(lister, device("b", 41))) == []
    told = one(plan(device("a", 31, numbers=(415,)), device("b", 41, source("y", 415))))
    assert told.what == "number 415 of b/y belongs to a"


def test_owned_twice() -> None:
    """Blocks and listed numbers each have one owner."""
    told = one(plan(device("a", 31, blocks=(31, 32)), device("b", 32)))
    assert told.what == "block 32 (320-329) is owned twice: by a and by b"
    told = one(plan(device("a", 31, numbers=(999,)), device("b", 32, numbers=(999,))))
    assert told.what == "number 999 is owned twice: by a and by b"
    assert told.path == ("devices", "b", "numbers", 0)


@pytest.mark.parametrize(
    ("owned", "what"),
    [
        ({"numbers": (2991,)}, "in transit"),
        ({"numbers": (5000,)}, "outside the range"),
        ({"blocks": (31, 400)}, "block 400 of a (4000-4009) is outside the range"),
    ],
)
def test_what_is_owned_has_to_be_usable(owned: dict[str, tuple[int, ...]], what: str) -> None:
    """Nobody can own what nobody may use."""
    assert what in one(plan(replace(device("a", 31), **owned))).what  # type: ignore[arg-type]  # keywords of Device, by test


def test_one_address_given_twice_is_not_told_as_blocks_too() -> None:
    """The blocks overlap because the addresses do: one fault."""
    assert "127.44.3.31 is held twice" in one(plan(device("a", 31), device("b", 31))).what


def test_a_number_where_no_network_numbers() -> None:
    """A number means something only on a network that has numbering."""
    bare = replace(MEDIA, numbering=None)
    some = plan(device("a", 31, source("x", 311)), networks=(bare, BENCH))
    assert "on no network that has numbering" in one(some).what


def test_what_stands_on_a_bench_holds_nothing() -> None:
    """A unit on the bench may have any number, until it joins."""
    fresh = device("a", "127.0.2.50", source("x", 311), network="bench")
    assert found(plan(fresh, device("b", 31, source("y", 311)))) == []
    told = one(plan(fresh, device("b", 31, source("y", 311))), playbook(asked("a", address=33)))
    assert "number 311 is held twice" in told.what


GROUP = RULES.group(311)


@pytest.mark.parametrize(
    ("groups", "what"),
    [
        ((GROUP,), f"group {GROUP} is held twice on media: by a/x and by b/y"),
        ((GROUP.replace("5004", "5006"),), None),
        (("239.194.200.1:5004",), None),
        (("239.0.0.7:5004",), "shares its Ethernet address"),
        (("224.0.1.129:5004",), "neither administratively scoped"),
        (("239.194.200.1:5004", "239.194.200.2:5004"), "2 groups, but is on 1 network"),
    ],
)
def test_groups_that_are_named(groups: tuple[str, ...], what: str | None) -> None:
    """A named group is fit, one a leg, and nobody else's, by name or by number."""
    some = plan(device("a", 31, source("x", 311)), device("b", 41, source("y", 411, *groups)))
    if what is None:
        assert found(some) == []
    else:
        assert what in one(some).what


def test_one_group_named_twice() -> None:
    """Told once; and not at all beside the number that is held twice too."""
    group = "239.194.200.1:5004"
    a, b = device("a", 31, source("x", 311, group)), device("b", 41, source("y", 411, group))
    assert "held twice on media: by a/x and by b/y" in one(plan(a, b)).what
    same = device("b", 41, source("y", 311, group))
    assert "number 311" in one(plan(a, same)).what


def two_legs(name: str, host: int, *groups: str) -> Plan:
    """A plan with a device on two media networks of its own, and one on the second alone."""
    blue = Network(name="blue", subnet=IPv4Network("127.45.3.0/24"), numbering=RULES)
    legs = (
        Interface("red", "media", f"127.44.3.{host}"),
        Interface("blue", "blue", f"127.45.3.{host}"),
    )
    both = replace(device(name, host, source("x", 311, *groups)), interfaces=legs)
    alone = device("b", "127.45.3.41", source("y", 311), network="blue")
    return plan(both, alone, networks=(MEDIA, BENCH, blue))


def test_numbers_are_unique_on_each_network() -> None:
    """Both legs may carry one group (SMPTE ST 2022-7, as the trade uses it; from memory)."""
    group = RULES.group(311)
    some = two_legs("a", 31, group, group)
    told = one(some)
    assert told.what == "number 311 is held twice on blue: by a/x and by b/y"
    a = some.devices["a"]
    assert found(replace(some, devices={"a": a})) == []


def test_as_wanted_numbers_may_change_places() -> None:
    """Two sources swap their numbers; each is told in the playbook where it is not a swap."""
    some = plan(device("a", 31, source("x", 311), source("y", 312)))
    assert found(some, playbook(asked("a", sources=numbers(x=312, y=311)))) == []
    told = one(some, playbook(asked("a", sources=numbers(x=312))))
    assert told.document == "playbooks/a.yaml"
    assert told.path == ("devices", "a", "sources", "x", "number")


def test_blocks_follow_a_new_address() -> None:
    """A device that moves takes its numbers with it, unless its blocks are given."""
    some = plan(device("a", 31), device("b", 41, source("y", 321)))
    assert "belongs to a" in one(some, playbook(asked("a", address=32))).what
    given = plan(device("a", 31, blocks=(31,)), device("b", 41, source("y", 321)))
    assert found(given, playbook(asked("a", address=32))) == []
    assert found(some, playbook(asked("a", address=32, blocks=(31,)))) == []


def test_a_number_let_go_is_free() -> None:
    """What a playbook unassigns, it may give to another."""
    some = plan(device("a", 31, source("x", 311), source("y")))
    wanted = numbers(x=Auto.UNASSIGNED, y=311)
    assert found(some, playbook(asked("a", sources=wanted))) == []
