from typing import Any

import pytest

from mocks.restconf.errors import Refused
from mocks.restconf.path import at, merged, parsed, put

TREE: dict[str, Any] = {
    "ietf-interfaces:interfaces": {
        "interface": [
            {"name": "eth0", "ietf-ip:ipv4": {"mtu": 1500}},
            {"name": "a/b,c", "enabled": True},
        ]
    }
}
ETH0 = "/ietf-interfaces:interfaces/interface=eth0"


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("", TREE),
        (f"{ETH0}/ietf-ip:ipv4", {"mtu": 1500}),
        (f"{ETH0}/ietf-ip:ipv4/mtu", 1500),
        ("/ietf-interfaces:interfaces/interface=a%2Fb%2Cc/enabled", True),
    ],
)
def test_a_path_leads_to_a_resource(path: str, value: object) -> None:
    """Keys are percent-encoded, a comma in a key too (RFC 8040, section 3.5.3)."""
    assert at(TREE, parsed(path)) == value


def test_a_segment_knows_how_it_stands_at_the_top_of_a_message() -> None:
    """With the module of the last that was named (RFC 7951, section 4)."""
    assert [one.wrapped for one in parsed(f"{ETH0}/ietf-ip:ipv4/mtu")] == [
        "ietf-interfaces:interfaces",
        "ietf-interfaces:interface",
        "ietf-ip:ipv4",
        "ietf-ip:mtu",
    ]


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/interfaces", 400),
        ("/ietf-interfaces:interfaces/interface", 400),
        ("/ietf-interfaces:interfaces=eth0", 400),
        ("/ietf-interfaces:interfaces/interface=eth9", 404),
        (f"{ETH0}/ipv4", 404),
        (f"{ETH0}/ietf-ip:ipv6", 404),
    ],
)
def test_what_is_no_path_or_leads_nowhere_is_refused(path: str, status: int) -> None:
    """400 where it could never be one, 404 where nothing is there now."""
    with pytest.raises(Refused) as caught:
        at(TREE, parsed(path))
    assert caught.value.status == status


def test_what_is_put_changes_a_copy() -> None:
    """A value, a new entry, an entry in place of another, and nothing in place of one."""
    mtu = parsed(f"{ETH0}/ietf-ip:ipv4/mtu")
    assert at(put(TREE, mtu, 9000), mtu) == 9000
    assert at(TREE, mtu) == 1500
    new = parsed("/ietf-interfaces:interfaces/interface=eth1")
    assert at(put(TREE, new, {"name": "eth1"}), new) == {"name": "eth1"}
    old = parsed(ETH0)
    assert at(put(TREE, old, {"name": "eth0"}), old) == {"name": "eth0"}
    for gone in (old, mtu):
        with pytest.raises(Refused):
            at(put(TREE, gone, None), gone)


def test_an_entrys_key_is_not_changed() -> None:
    """Neither PUT nor PATCH may (RFC 8040, 4.5 and 4.6.1)."""
    with pytest.raises(Refused, match="key"):
        put(TREE, parsed(ETH0), {"name": "eth7"})


def test_merging_joins_entries_by_their_keys() -> None:
    """So an address with another key is one more address, not the same one changed."""
    now: dict[str, Any] = {"address": [{"ip": "192.0.2.20", "prefix-length": 24}], "mtu": 1500}
    more = {"address": [{"ip": "192.0.2.21", "prefix-length": 24}]}
    assert len(merged(now, more)["address"]) == 2
    same = {"address": [{"ip": "192.0.2.20", "prefix-length": 25}]}
    assert merged(now, same) == {**now, **same}
    assert len(now["address"]) == 1
