from ipaddress import IPv4Address

import pytest

from mocks.state import Lan, Memory, State, checked_group, checked_lan, derived_group


def test_derived_group() -> None:
    """Number n is the n-th address after 239.194.0.0; 0 is none. Values worked out by hand."""
    assert derived_group(0) == ""
    assert derived_group(1) == "239.194.0.1:5004"
    assert derived_group(311) == "239.194.1.55:5004"
    assert derived_group(65535) == "239.194.255.255:5004"
    # RFC 2365, 6.2: 239.192.0.0/14 is for one organisation.
    assert 239 << 24 | 192 << 16 <= int(IPv4Address("239.194.0.0")) < 239 << 24 | 196 << 16


@pytest.mark.parametrize(
    "text",
    ["239.1.1.1", "239.1.1.1:0", "239.1.1.1:70000", "10.0.0.1:5004", "x:1", "239.1.1.1:5_0", None],
)
def test_groups_refused(text: object) -> None:
    """No group without a multicast address (RFC 5771: 224.0.0.0/4) and a port."""
    with pytest.raises(ValueError, match="multicast"):
        checked_group(text)


def test_groups_have_one_spelling() -> None:
    """Leading zeros of a port go; none is none."""
    assert checked_group("239.1.2.3:05004") == "239.1.2.3:5004"
    assert checked_group("") == ""


@pytest.mark.parametrize(
    ("address", "prefix", "gateway"),
    [
        ("127.44.3.0", 24, None),
        ("127.44.3.255", 24, None),
        ("239.1.1.1", 24, None),
        ("0.0.0.0", 24, None),  # noqa: S104  # an address that must be refused
        ("127.44.3.9", 31, None),
        ("127.44.3.9", True, None),
        ("127.44.3.9", "24", None),
        (5, 24, None),
        ("127.44.3", 24, None),
        ("127.44.3.9", 24, "127.44.4.1"),
        ("127.44.3.9", 24, "127.44.3.9"),
        ("127.44.3.9", 24, 5),
    ],
)
def test_addresses_refused(address: object, prefix: object, gateway: object) -> None:
    """An address must be one host's, in its subnet, with a gateway that is another host there."""
    with pytest.raises(ValueError, match="is no"):
        checked_lan(address, prefix, gateway)


def test_memory_as_plain_dicts() -> None:
    """A memory can be dumped; an address on its way is in it."""
    state = State(Lan("127.44.3.9", 24), {}, {}, {"ptp_domain": 0})
    dumped = Memory(state, state, Lan("127.44.3.8", 24)).as_dict()
    assert dumped["pending"] == {"address": "127.44.3.8", "prefix": 24, "gateway": None}
    assert dumped["running"] == dumped["saved"]
    assert dumped["running"]["settings"] == {"ptp_domain": 0}


def test_what_a_make_keeps_of_its_own() -> None:
    """It is dumped where there is any, and replaced by name."""
    state = State(Lan("127.44.3.7", 24), {}, {}, {})
    assert "kept" not in Memory(state, state).as_dict()["running"]
    state = state.with_kept("a", 1).with_kept("b", 2).with_kept("a", 3)
    assert Memory(state, state).as_dict()["running"]["kept"] == {"a": 3, "b": 2}
