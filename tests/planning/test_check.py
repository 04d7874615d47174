"""The checks together: a right facility has no finding, and a large one is checked in seconds."""

from dataclasses import replace
from ipaddress import IPv4Network
from time import perf_counter

from hypothesis import given, settings
from hypothesis import strategies as st

from orchestrator.facility.numbering import NumberRange
from orchestrator.planning.check import findings
from tests.planning.made_plan import (
    BENCH,
    MEDIA,
    RULES,
    asked,
    device,
    found,
    numbers,
    plan,
    playbook,
    source,
)


def test_a_right_facility_has_no_finding() -> None:
    """Devices with numbers of their own, and a playbook that keeps to the rules."""
    some = plan(device("a", 31, source("x", 311)), device("b", 41, source("y", 411)))
    assert found(some, playbook(asked("a", address=32, sources=numbers(x=321)))) == []


def test_findings_are_sorted_and_the_same_every_time() -> None:
    """By document, then by path: the order of the devices in the plan does not show."""
    devices = [device(name, 31, source("x", 5000)) for name in "cab"]
    told = found(plan(*devices))
    assert told == sorted(told, key=lambda item: (item.document, str(item.path)))
    assert told == found(plan(*devices))


@settings(max_examples=50, deadline=None)
@given(
    held=st.lists(st.tuples(st.sampled_from([31, 32, 41]), st.integers(305, 330)), max_size=6),
)
def test_numbers_against_a_plain_count(held: list[tuple[int, int]]) -> None:
    """There is a finding exactly where a slow count finds a number twice or in another's block."""
    hosts = (31, 32, 41)
    devices = [
        device(
            f"d{host}",
            host,
            *(source(f"s{index}", number) for index, (at, number) in enumerate(held) if at == host),
        )
        for host in hosts
    ]
    every = [number for _, number in held]
    twice = any(every.count(number) > 1 for number in every)
    stray = any(number // 10 in hosts and number // 10 != host for host, number in held)
    assert bool(found(plan(*devices))) == (twice or stray)


def test_ten_thousand_devices_are_checked_in_seconds() -> None:
    """200,000 sources, as they are and as a playbook wants them; no loop over pairs."""
    rules = replace(
        RULES,
        numbers=NumberRange(1, 240_000),
        transit=None,
        numbers_per_host=20,
        first_in_block=0,
        group_range=IPv4Network("239.192.0.0/14"),
    )
    wide = replace(
        MEDIA,
        subnet=IPv4Network("127.64.0.0/16"),
        gateway=None,
        keep_clear=(),
        transit=(),
        numbering=rules,
    )
    names = [f"s{index}" for index in range(20)]
    devices = [
        device(
            f"d{host}",
            f"127.64.{host >> 8}.{host & 255}",
            *(source(name, host * 20 + index) for index, name in enumerate(names)),
        )
        for host in range(1, 10_001)
    ]
    some = plan(*devices, networks=(wide, BENCH))
    book = playbook(*(asked(item.name, sources=numbers(s0=1)) for item in devices[:2000]))
    start = perf_counter()
    told = findings(some, [book], {})
    assert perf_counter() - start < 20  # about 2 s on a computer of 2024, alone
    assert len(told) == 1999  # 2,000 sources that are all to have number 1
