"""Vacant places and numbers, against a plain look at each host part and against netaddr."""

import random
from dataclasses import replace
from ipaddress import IPv4Network

import netaddr  # type: ignore[import-untyped]  # its types are a package apart
import pytest

from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import Network, Plan
from orchestrator.facility.wanted import Auto, Playbook
from orchestrator.planning.check import findings
from orchestrator.planning.vacant import own_numbers, places
from tests.planning.made_plan import MEDIA, RULES, asked, device, numbers, plan, playbook, source


def hosts(some: Plan, *playbooks: Playbook) -> list[int]:
    """The host parts of the vacant places on media."""
    found: list[int] = []
    for place in places(some, playbooks):
        run = netaddr.IPRange(place.first, place.last)
        assert len(run) == place.hosts
        found += [int(address) - int(netaddr.IPAddress("127.44.3.0")) for address in run]
    return found


def test_an_empty_plan_has_all_that_is_not_set_aside() -> None:
    """Between what is kept clear and transit, and after it up to the gateway."""
    assert hosts(plan()) == [*range(21, 230), *range(240, 254)]


def test_what_somebody_has_or_is_to_get_is_not_vacant() -> None:
    """Addresses, owned blocks, numbers held or listed anywhere, and what a playbook wants."""
    some = plan(
        device("a", 31, source("x", 311), blocks=(31, 32)),
        device("b", 41, source("x", 505)),
        device("c", 42, numbers=(617,)),
        device("d", 43, source("x", None, "239.194.2.202:5004")),
    )
    wants = playbook(asked("b", address=45, sources=numbers(y=701)))
    taken = {31, 32, 41, 50, 42, 61, 43, 71, 45, 70}
    # The group is that of number 714: 2 x 256 + 202.
    assert hosts(some, wants) == [n for n in [*range(21, 230), *range(240, 254)] if n not in taken]


def test_a_big_box_needs_hosts_in_a_row() -> None:
    """Single gaps are passed over."""
    some = plan(*(device(f"d{n}", n) for n in range(21, 230) if n not in {25, 30, 31, 32}))
    assert [p.first for p in places(some, (), 3)] == ["127.44.3.30", "127.44.3.240"]
    assert places(some, (), 3)[0].numbers == NumberRange(300, 329)


def test_a_place_outside_the_range_of_numbers_is_none() -> None:
    """A block that is not wholly in the range, or touches transit, is nobody's to have."""
    rules = replace(RULES, numbers=NumberRange(255, 294), transit=NumberRange(281, 281))
    small = replace(MEDIA, numbering=rules)
    assert hosts(plan(networks=(small,))) == [26, 27]


@pytest.mark.parametrize("prefix", ["127.44.3.8/29", "127.44.3.8/30", "127.44.3.8/31"])
def test_hosts_of_a_small_network(prefix: str) -> None:
    """As netaddr lists them (RFC 1122 3.2.1.3; both addresses of a /31 by RFC 3021)."""
    (place,) = places(plan(networks=(Network(name="small", subnet=IPv4Network(prefix)),)), ())
    known = [str(address) for address in netaddr.IPNetwork(prefix).iter_hosts()]
    assert (place.first, place.last, place.hosts) == (known[0], known[-1], len(known))
    assert place.numbers is None


def test_numbers_left_in_own_blocks() -> None:
    """The first block from its first number for sources, the next whole; none held, none auto."""
    some = plan(device("a", 31, source("x", 311), source("y", 325), blocks=(31, 32)))
    wants = playbook(asked("a", sources=numbers(z=312, auto=Auto.AUTO)))
    (own,) = own_numbers(some, [wants])
    assert own.device == "a"
    assert list(own.numbers) == [*range(314, 320), *range(320, 325), *range(326, 330)]


@pytest.mark.parametrize("seed", range(40))
def test_who_is_put_on_a_vacant_place_disturbs_nobody(seed: int) -> None:
    """No fault is found with a new device there and its block full of sources; elsewhere it is."""
    rng = random.Random(seed)
    chosen = rng.sample(range(21, 230), 12)
    held = [
        device(f"d{n}", n, source("x", rng.choice([n, *chosen]) * 10 + rng.randrange(1, 10)))
        for n in chosen
    ]
    some = plan(*held)
    before = set(findings(some, (), {}))
    vacant = hosts(some)
    for host in rng.sample(range(1, 254), 30):
        full = [source(f"s{n}", host * 10 + n) for n in range(1, 10)]
        more = set(findings(plan(*held, device("new", host, *full)), (), {})) - before
        assert bool(more) == (host not in vacant), (host, more)
