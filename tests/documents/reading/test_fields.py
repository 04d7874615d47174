"""The kinds of value that documents hold."""

import ipaddress
from collections.abc import Callable
from typing import Any

import netaddr  # type: ignore[import-untyped]
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from orchestrator.documents.reading import fields
from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.wanted import Auto


def refused(read: Callable[[Any], object], value: object) -> tuple[str, str]:
    """What is said of a value, and the fix."""
    with pytest.raises(PydanticCustomError) as caught:
        read(value)
    context = caught.value.context or {}
    return str(context["what"]), str(context["fix"])


@pytest.mark.parametrize("name", ["a", "north-engine", "4", "CE-40.2_b", "x" * 63])
def test_names(name: str) -> None:
    """What may be a name."""
    assert fields.read_name(name) == name


@pytest.mark.parametrize("name", ["", " ", "-a", "a b", "a/b", "ä", "x" * 64, 5, None, True, "a\n"])
def test_what_is_no_name(name: object) -> None:
    """Everything else is refused, with a fix."""
    assert all(refused(fields.read_name, name))


@given(text=st.from_regex(r"[0-9]{1,3}(\.[0-9]{1,3}){3}", fullmatch=True))
def test_addresses_are_those_of_the_libraries(text: str) -> None:
    """``ipaddress`` decides, and netaddr agrees where numbers have no leading zero."""
    try:
        expected = str(ipaddress.IPv4Address(text))
    except ValueError:
        assert "is not an IPv4 address" in refused(fields.read_address, text)[0]
        return
    assert fields.read_address(text) == expected == str(netaddr.IPAddress(text))


@given(address=st.integers(0, 2**32 - 1), prefix=st.integers(0, 32))
def test_subnets_are_those_of_netaddr(address: int, prefix: int) -> None:
    """With host bits set, the fix names the subnet that was meant."""
    text = f"{ipaddress.IPv4Address(address)}/{prefix}"
    meant = str(netaddr.IPNetwork(text).cidr)
    if text == meant:
        assert str(fields.read_subnet(text)) == meant
    else:
        assert refused(fields.read_subnet, text)[1] == f"write {meant}"


@pytest.mark.parametrize("text", ["127.0.0.0", "127.0.0.0/33", "127.0.0.0/", "127.0.0.0/08", "x/8"])
def test_what_is_no_subnet(text: str) -> None:
    """A prefix length is a number from 0 to 32."""
    assert all(refused(fields.read_subnet, text))


def test_ranges_of_addresses() -> None:
    """One, or two in order."""
    assert str(fields.read_address_range("127.0.0.1 - 127.0.0.9")) == "127.0.0.1-127.0.0.9"
    assert str(fields.read_address_range("127.0.0.1")) == "127.0.0.1"
    assert refused(fields.read_address_range, "127.0.0.9-127.0.0.1")[1] == (
        "write 127.0.0.1-127.0.0.9"
    )


def test_numbers() -> None:
    """A figure, a range, a word; the plan has no words."""
    assert fields.read_planned_number(311) == 311
    assert fields.read_planned_number("311-314") == NumberRange(311, 314)
    assert fields.read_asked_number("auto") is Auto.AUTO
    assert fields.read_asked_number("unassigned") is Auto.UNASSIGNED
    assert fields.read_numbers(7) == NumberRange(7, 7)
    never: tuple[object, ...] = (0, -1, True, "311", 3.0, "auto", 2**24)
    assert all(all(refused(fields.read_planned_number, value)) for value in never)
    words: tuple[object, ...] = ("Auto", "next", "5-1", None)
    assert all(all(refused(fields.read_asked_number, value)) for value in words)


@pytest.mark.parametrize(
    ("text", "hears"),
    [
        ("nothing", ListensTo()),
        (311, ListensTo(number=311)),
        ("311", ListensTo(number=311)),
        ("a/b", ListensTo(source=Ref("a", "b"))),
        ("239.1.2.3", ListensTo(group="239.1.2.3:5004")),
        ("239.1.2.3:5006", ListensTo(group="239.1.2.3:5006")),
    ],
)
def test_what_can_be_listened_to(text: str | int, hears: ListensTo) -> None:
    """A group without a port takes the network's."""
    assert fields.hearing(text, 5004) == hears


@pytest.mark.parametrize(
    "text", ["", "none", "a/b/c", "10.0.0.1", "239.1.2.3:0", "239.1.2.3:70000"]
)
def test_what_can_not(text: str) -> None:
    """Refused with what could stand there."""
    assert all(refused(fields.hearing, text))


@given(address=st.integers(0, 2**32 - 1))
def test_groups_are_multicast(address: int) -> None:
    """RFC 5771, section 3: 224.0.0.0 to 239.255.255.255, as netaddr has it too."""
    text = str(ipaddress.IPv4Address(address))
    if netaddr.IPAddress(text).is_multicast():
        assert fields.group_of(text, 5004) == f"{text}:5004"
    else:
        assert "is not a multicast address" in refused(fields.group_of, text)[0]


@pytest.mark.parametrize(
    "text", ["2026-03-01T06:00:00+00:00", "2026-03-01T06:00:00Z", "2026-03-01T06:00-05:00"]
)
def test_times(text: str) -> None:
    """ISO 8601 with an offset (RFC 3339, section 5.6)."""
    assert fields.read_until(text) == text


@pytest.mark.parametrize("text", ["2026-03-01", "2026-03-01T06:00:00", "tomorrow", "06:00Z"])
def test_times_that_say_no_offset(text: str) -> None:
    """Without an offset nobody knows when it ends."""
    assert "offset" in refused(fields.read_until, text)[0]


@pytest.mark.parametrize("value", ["true", "yes", 1, 0, "on"])
def test_flags(value: object) -> None:
    """True and false, nothing that looks like them."""
    assert fields.read_flag(value=True) is True
    assert refused(fields.read_flag, value)[1] == "write true or false"


def test_seconds_and_settings() -> None:
    """Finite numbers only; a setting may be any scalar."""
    assert fields.read_seconds(2) == 2.0
    for value in (-1, True, "2", float("nan"), float("inf"), 1e9):
        assert all(refused(fields.read_seconds, value))
    settings: tuple[object, ...] = (True, 0, 1.5, "x")
    assert tuple(map(fields.read_setting, settings)) == settings
    none: tuple[object, ...] = (float("inf"), [], None)
    assert all(all(refused(fields.read_setting, value)) for value in none)


def test_what_is_shown_is_short() -> None:
    """A page of text is not repeated in an error."""
    assert len(fields.shown("x" * 1000)) <= fields.LONGEST_SHOWN + 2
    assert fields.shown({"a": 1}) == "a mapping"
    assert fields.shown(value=True) == "true"
