from typing import Any

import pytest

from mocks.restconf.edits import PatchRefused, deleted, edited, patched, replaced
from mocks.restconf.errors import Refused
from mocks.restconf.path import at, parsed
from mocks.restconf.tree import configured, fresh
from mocks.state import Lan
from tests.yang_models import check_message

TREE = configured(fresh(), Lan("192.0.2.20", 24, "192.0.2.1"))
IPV4 = parsed("/ietf-interfaces:interfaces/interface=eth0/ietf-ip:ipv4")
MTU = parsed("/ietf-interfaces:interfaces/interface=eth0/ietf-ip:ipv4/mtu")
OTHER = [{"ip": "192.0.2.21", "prefix-length": 24}]


def test_a_put_replaces_all_that_was_there() -> None:
    """What is not sent is gone (RFC 8040, 4.5)."""
    assert at(replaced(TREE, IPV4, {"ietf-ip:ipv4": {"address": OTHER}}), IPV4) == {
        "address": OTHER
    }


def test_a_plain_patch_with_another_address_leaves_two() -> None:
    """An address is a list key (RFC 8344), and a merge takes nothing away (RFC 8040, 4.6.1)."""
    tree = patched(TREE, IPV4, {"ietf-ip:ipv4": {"address": OTHER}})
    assert [one["ip"] for one in at(tree, IPV4)["address"]] == ["192.0.2.20", "192.0.2.21"]
    whole: dict[str, Any] = {"ietf-restconf:data": {"ietf-interfaces:interfaces": {}}}
    assert patched(TREE, (), whole) == TREE


def test_a_patch_makes_nothing_and_changes_no_key() -> None:
    """RFC 8040, 4.6.1."""
    missing = parsed("/ietf-interfaces:interfaces/interface=eth9")
    entry = {"ietf-interfaces:interface": [{"name": "eth9"}]}
    with pytest.raises(Refused):
        patched(TREE, missing, entry)
    with pytest.raises(Refused, match="no key"):
        patched(TREE, parsed("/ietf-interfaces:interfaces/interface=eth0"), entry)


def test_a_delete_takes_what_is_there() -> None:
    """404 where nothing is (RFC 8040, 4.7 with 7)."""
    tree = deleted(TREE, MTU)
    assert "mtu" not in at(tree, IPV4)
    with pytest.raises(Refused) as caught:
        deleted(tree, MTU)
    assert caught.value.status == 404


@pytest.mark.parametrize(
    ("message", "tag"),
    [
        ({"ipv4": {}}, "unknown-namespace"),
        ({"ietf-ip:ipv6": {}}, "unknown-element"),
        ({"ietf-ip:ipv4": {}, "b": 1}, "malformed-message"),
        ([], "malformed-message"),
    ],
)
def test_a_message_holds_its_target_under_its_full_name(message: Any, tag: str) -> None:
    """RFC 7951, section 4."""
    with pytest.raises(Refused) as caught:
        replaced(TREE, IPV4, message)
    assert caught.value.tag == tag


def test_what_is_not_configuration_is_not_edited() -> None:
    """The hardware is what it is; the datastore as a whole is not replaced."""
    for path in ("/ietf-hardware:hardware", ""):
        with pytest.raises(Refused) as caught:
            replaced(TREE, parsed(path), {})
        assert caught.value.status == 405


def yang_patch(*edits: dict[str, Any]) -> dict[str, Any]:
    """A YANG Patch, which the standard's module has to find in order."""
    numbered = [{"edit-id": str(number), **edit} for number, edit in enumerate(edits)]
    message = {"ietf-yang-patch:yang-patch": {"patch-id": "p", "edit": numbered}}
    check_message(message)  # RFC 8072
    return message


ONE, NEXT = "/address=192.0.2.20", "/address=192.0.2.21"
VALUE = {"ietf-ip:address": OTHER}


def test_edits_are_done_in_order() -> None:
    """The example of moving an address by two edits: make the new one, take the old one away."""
    message = yang_patch(
        {"operation": "create", "target": NEXT, "value": VALUE},
        {"operation": "delete", "target": ONE},
    )
    tree, name = edited(TREE, IPV4, message)
    assert (at(tree, IPV4)["address"], name) == (OTHER, "p")


def test_every_operation_does_what_the_standard_says() -> None:
    """RFC 8072, section 2.2: replace and merge make what is missing, remove may find nothing."""
    for operation in ("replace", "merge"):
        edit = {"operation": operation, "target": NEXT, "value": VALUE}
        tree, _ = edited(TREE, IPV4, yang_patch(edit))
        assert [one["ip"] for one in at(tree, IPV4)["address"]] == ["192.0.2.20", "192.0.2.21"]
    for target in (ONE, NEXT):
        tree, _ = edited(TREE, IPV4, yang_patch({"operation": "remove", "target": target}))
        assert len(at(tree, IPV4)["address"]) == (target == NEXT)


@pytest.mark.parametrize(
    ("edit", "tag"),
    [
        ({"operation": "create", "target": "/mtu", "value": {"ietf-ip:mtu": 9000}}, "data-exists"),
        ({"operation": "delete", "target": NEXT}, "data-missing"),
        ({"operation": "move", "target": ONE}, "operation-not-supported"),
        ({"operation": "merge", "target": ONE}, "malformed-message"),
    ],
)
def test_one_edit_that_can_not_be_done_undoes_all(edit: dict[str, Any], tag: str) -> None:
    """The status says which, in the standard's form; nothing was changed."""
    first = {"edit-id": "a", "operation": "remove", "target": ONE}
    edits = [first, {"edit-id": "b", **edit}]
    with pytest.raises(PatchRefused) as caught:
        edited(TREE, IPV4, {"ietf-yang-patch:yang-patch": {"patch-id": "p", "edit": edits}})
    assert caught.value.why.tag == tag
    check_message(caught.value.status)  # RFC 8072
    assert at(TREE, IPV4)["address"][0]["ip"] == "192.0.2.20"


def test_what_is_no_patch_is_refused() -> None:
    """Of the right type, with nothing in it."""
    odd: list[Any] = [{}, {"ietf-yang-patch:yang-patch": {}}, []]
    for message in odd:
        with pytest.raises(Refused):
            edited(TREE, IPV4, message)
