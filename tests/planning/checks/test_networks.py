"""Networks: what can't be right about one, or about two together."""

from dataclasses import replace
from ipaddress import IPv4Address, IPv4Network

import pytest

from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import AddressRange, Network
from tests.planning.made_plan import BENCH, MEDIA, RULES, found, one, plan


def net(**more: object) -> Network:
    """The media network, otherwise."""
    return replace(MEDIA, **more)  # type: ignore[arg-type]  # keywords of Network, by test


@pytest.mark.parametrize(
    ("gateway", "what"),
    [
        ("127.44.4.254", "not on its own link"),
        ("127.44.3.0", "the network's own address"),
        ("127.44.3.255", "the network's broadcast address"),
        ("127.44.3.230", "in transit"),
    ],
)
def test_gateways_that_lead_nowhere(gateway: str, what: str) -> None:
    """A gateway is a host of the link, and is never lent."""
    finding = one(plan(networks=(net(gateway=IPv4Address(gateway)),)))
    assert what in finding.what
    assert finding.path == ("networks", "media", "gateway")


@pytest.mark.parametrize(
    ("subnet", "right"),
    [
        ("127.44.3.0/24", True),  # loopback: the example lives there
        ("10.44.3.0/24", True),
        ("192.0.2.0/24", True),  # RFC 5737, section 3: for examples
        ("0.0.0.0/24", False),  # RFC 1122, section 3.2.1.3 (a)
        ("239.1.1.0/24", False),  # RFC 1112, section 4
        ("240.0.0.0/24", False),  # RFC 1112, section 4
        ("169.254.1.0/24", False),  # RFC 3927, section 1.6; from memory
    ],
)
def test_subnets_for_hosts(subnet: str, *, right: bool) -> None:
    """Where hosts can be."""
    network = Network(name="media", subnet=IPv4Network(subnet))
    assert (found(plan(networks=(network,))) == []) == right


def test_a_bench_may_be_link_local() -> None:
    """A fresh unit that found no server gives itself such an address."""
    bench = replace(BENCH, subnet=IPv4Network("169.254.0.0/16"))
    assert found(plan(networks=(MEDIA, bench))) == []


def test_subnets_that_overlap() -> None:
    """Each network that lies in another is told once."""
    inner = [
        Network(name=f"n{host}", subnet=IPv4Network(f"127.44.3.{host}/30")) for host in (0, 64, 128)
    ]
    told = found(plan(networks=(MEDIA, BENCH, *inner)))
    assert [item.path for item in told] == [("networks", f"n{n}", "subnet") for n in (0, 128, 64)]
    assert all("overlaps 127.44.3.0/24 of media" in item.what for item in told)


def test_what_is_set_aside_lies_inside() -> None:
    """A range that reaches out of its subnet sets nothing aside."""
    outside = AddressRange(IPv4Address("127.44.3.250"), IPv4Address("127.44.4.2"))
    finding = one(plan(networks=(net(keep_clear=(outside,)),)))
    assert "not all inside 127.44.3.0/24" in finding.what
    assert finding.path == ("networks", "media", "keep_clear", 0)


def test_a_bench_numbers_nothing() -> None:
    """What stands on a bench holds nothing of the facility."""
    assert (
        "bench numbers nothing" in one(plan(networks=(MEDIA, replace(BENCH, numbering=RULES)))).what
    )


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"transit": NumberRange(2990, 3005)}, "not all inside the range 1-2999"),
        ({"first_in_block": 10}, "leaves none of 10"),
        ({"group_range": IPv4Network("239.194.0.0/21")}, "too few for number 2999"),
        ({"group_range": IPv4Network("239.0.0.0/16")}, "switches send to every port"),
        (
            {"group_range": IPv4Network("239.195.240.0/20"), "numbers": NumberRange(1, 4000)},
            "239.195.255.0 is in the highest /24",
        ),
        ({"group_range": IPv4Network("224.2.0.0/16")}, "neither administratively scoped"),
        ({"group_range": IPv4Network("10.0.0.0/16")}, "neither administratively scoped"),
    ],
)
def test_numbering_that_can_not_work(change: dict[str, object], what: str) -> None:
    """Each is told once, even where two networks share the rules."""
    rules = replace(RULES, **change)  # type: ignore[arg-type]  # keywords of Numbering, by test
    other = Network(name="blue", subnet=IPv4Network("127.45.3.0/24"), numbering=rules)
    finding = one(plan(networks=(net(numbering=rules), other)))
    assert what in finding.what


def test_a_group_range_that_just_fits() -> None:
    """4,096 groups are enough for number 2999 and for 4095, and one number more is too many."""
    fits = replace(RULES, group_range=IPv4Network("239.194.16.0/20"))
    for last, right in ((2999, True), (4095, True), (4096, False)):
        rules = replace(fits, numbers=NumberRange(1, last))
        assert (found(plan(networks=(net(numbering=rules),))) == []) == right
