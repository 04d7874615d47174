"""Numbers, blocks and groups.

Numbers begin with the host part, ten to a host: common practice, no source.
"""

from dataclasses import replace
from ipaddress import IPv4Address, IPv4Network

import netaddr  # type: ignore[import-untyped]
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.facility.numbering import Numbering, NumberRange

RULES = Numbering(
    numbers=NumberRange(1, 2999),
    numbers_per_host=10,
    first_in_block=1,
    group_range=IPv4Network("239.194.0.0/16"),
    port=5004,
)


def test_a_range_holds_both_of_its_ends() -> None:
    """As people say it: 411 to 414 are four numbers."""
    some = NumberRange(411, 414)
    assert list(some) == [411, 412, 413, 414]
    assert len(some) == 4
    assert 411 in some
    assert 414 in some
    assert 410 not in some
    assert 415 not in some
    assert "412" not in some
    assert str(some) == "411-414"


def test_host_31_owns_310_to_319_and_uses_them_from_311() -> None:
    """The example that the rule is explained by."""
    assert RULES.block(31) == NumberRange(310, 319)
    assert RULES.usable(31) == NumberRange(311, 319)


@given(host=st.integers(0, 5000), size=st.integers(1, 100))
def test_blocks_lie_side_by_side(host: int, size: int) -> None:
    """Every number belongs to just one host part."""
    rules = replace(RULES, numbers_per_host=size, first_in_block=0)
    assert rules.block(host + 1).first == rules.block(host).last + 1
    assert all(number // size == host for number in rules.block(host))


def test_groups_worked_out_by_hand() -> None:
    """Number 311 is 1 x 256 + 55, so its group ends in 1.55."""
    assert RULES.group(311) == "239.194.1.55:5004"
    assert RULES.group(421) == "239.194.1.165:5004"
    assert RULES.group(1) == "239.194.0.1:5004"


@given(number=st.integers(0, 65535))
def test_groups_are_those_that_netaddr_counts(number: int) -> None:
    """The number-th address of the range, by a library of its own."""
    network = netaddr.IPNetwork("239.194.0.0/16")
    assert RULES.group(number) == f"{network[number]}:5004"


@pytest.mark.parametrize("number", [-1, 65536])
def test_a_number_without_a_group(number: int) -> None:
    """The range is too small: refused, not wrapped around."""
    assert not RULES.has_group(number)
    with pytest.raises(ValueError, match="has no address"):
        RULES.group(number)


def test_consecutive_numbers_share_no_ethernet_address() -> None:
    """In 239.192.0.0/14 all groups keep their own (RFC 1112, section 6.4: the low 23 bits)."""
    seen = {int(IPv4Address(RULES.group(n).partition(":")[0])) & 0x7FFFFF for n in range(65536)}
    assert len(seen) == 65536


@given(st.integers(1, 2999), st.integers(1, 3))
def test_a_group_gives_its_number_back(number: int, legs: int) -> None:
    """The inverse of the rule, whatever the number of legs that carry the group."""
    assert RULES.number_of_legs((RULES.group(number),) * legs) == number
    assert RULES.number_of_legs((None, RULES.group(number))) == number


@pytest.mark.parametrize(
    "groups",
    [
        (),
        (None, None),
        ("239.195.1.55:5004",),
        ("239.193.255.255:5004",),
        ("239.194.1.55:5006",),
        ("239.194.1.55",),
        ("239.194.0.0:5004",),
        ("239.194.200.1:5004",),
        ("somewhere:5004",),
        ("239.194.1.55:5004", "239.194.1.56:5004"),
    ],
)
def test_groups_that_stand_for_no_number(groups: tuple[str | None, ...]) -> None:
    """Outside the range, on another port, number 0 or past the last number, or two numbers."""
    assert RULES.number_of_legs(groups) is None


@given(number=st.integers(1, 2999))
def test_a_group_leads_back_to_its_number(number: int) -> None:
    """For a device that knows its sources by their groups alone."""
    assert RULES.number_of(RULES.group(number)) == number


@pytest.mark.parametrize(
    "group",
    [
        "239.194.0.0:5004",
        "239.194.255.255:5004",
        "239.195.0.1:5004",
        "239.193.255.255:5004",
        "239.194.1.55:5006",
        "239.194.1.55",
        "nonsense",
        "",
    ],
)
def test_a_group_off_the_rule_has_no_number(group: str) -> None:
    """Outside the numbers or the range, of another port, or no group at all."""
    assert RULES.number_of(group) is None
