"""What every check shares."""

from ipaddress import IPv4Address

from hypothesis import given
from hypothesis import strategies as st

from orchestrator.planning.checks.common import (
    Origins,
    Report,
    legs,
    own_blocks,
    quad,
    whole,
)
from tests.planning.made_plan import asked, device, numbers, plan, playbook


@given(address=st.integers(0, 2**32 - 1))
def test_addresses_as_numbers_are_those_of_ipaddress(address: int) -> None:
    """There and back, as the standard library has it."""
    assert quad(address) == str(IPv4Address(address))
    assert whole(quad(address)) == address == int(IPv4Address(quad(address)))


def test_the_same_fault_is_told_once() -> None:
    """By its words, or by a key where the words may differ."""
    report = Report()
    report.add(("plan.yaml", ("a",)), "twice", "fix")
    report.add(("playbooks/a.yaml", ("b",)), "twice", "fix")
    report.add(("plan.yaml", ("a",)), "one way", "fix", key=1)
    report.add(("plan.yaml", ("a",)), "another way", "fix", key=1)
    assert [item.what for item in report.findings] == ["twice", "one way"]


def test_looking_for_the_nearest_name_ends() -> None:
    """With thousands of faults, the later ones get a plain fix, so that a check stays quick."""
    report = Report()
    fixes = [report.nearest("nroth", ["north"], "declare it") for _ in range(200)]
    assert fixes[0] == "write 'north'"
    assert fixes[-1] == "declare it"


def test_where_a_thing_comes_from() -> None:
    """A playbook that asks for it; the plan for all else."""
    book = playbook(asked("a", address=32, sources=numbers(x=311)))
    origins = Origins([book])
    file = "playbooks/a.yaml"
    assert origins.where("a", "interfaces", "main", "address") == (
        file,
        ("devices", "a", "interfaces", "main"),
    )
    path = ("devices", "a", "sources", "x", "number")
    assert origins.where("a", "sources", "x", "number") == (file, path)
    assert origins.where("a", "sources", "y", "number")[0] == "plan.yaml"
    assert origins.where("b", "interfaces", "main", "address")[0] == "plan.yaml"


def test_legs_and_blocks() -> None:
    """Blocks as given, else the host part; a bench has neither legs nor blocks."""
    some = plan(
        device("a", 31),
        device("b", 41, blocks=(7, 8)),
        device("c", "127.0.2.50", network="bench"),
        device("d", None),
    )
    blocks = {name: own_blocks(some, item) for name, item in some.devices.items()}
    assert blocks == {"a": (31,), "b": (7, 8), "c": (), "d": ()}
    on = {name: legs(some, item) for name, item in some.devices.items()}
    assert on == {"a": ("media",), "b": ("media",), "c": (), "d": ("media",)}
