import json
from xml.etree import ElementTree as ET

from mocks.messages import Request, Settle
from mocks.restconf.server import ROOT
from tests.mocks.hosts import (
    ADDRESS,
    DATA,
    GATEWAY,
    INTERFACES,
    IPV4,
    YANG_PATCH,
    a_host,
    a_world,
    ask,
    config_of,
    error_of,
    tag_of,
)
from tests.yang_models import check_all, check_config, check_message, model

MOVED = {"ietf-ip:ipv4": {"address": [{"ip": "127.44.3.42", "prefix-length": 24}]}}


def test_host_metadata_says_where_the_api_is() -> None:
    """RFC 8040, 3.1, by RFC 6415: XRD, and the same as JSON; without a sign-in."""
    host = a_host()
    found = host.handle(Request("GET", "/.well-known/host-meta"))
    link = ET.fromstring(found.body)[0]  # noqa: S314 - our own text
    assert link.attrib == {"rel": "restconf", "href": ROOT}
    as_json = host.handle(Request("GET", "/.well-known/host-meta.json"))
    assert as_json.json == {"links": [{"rel": "restconf", "href": ROOT}]}
    assert host.handle(Request("PUT", "/.well-known/host-meta")).status == 405


def test_the_api_resource_is_the_standards() -> None:
    """RFC 8040, 3.3: data, operations, and the version of the YANG library."""
    host = a_host()
    assert ask(host, "GET", ROOT).json["ietf-restconf:restconf"].keys() == {
        "data",
        "operations",
        "yang-library-version",
    }
    assert ask(host, "GET", f"{ROOT}/operations").json == {"ietf-restconf:operations": {}}
    assert ask(host, "GET", f"{ROOT}/elsewhere").status == 404
    assert ask(host, "GET", "/elsewhere").status == 404


def test_whoever_does_not_sign_in_is_told_how() -> None:
    """Basic where the unit has a user, with an error document beside the challenge."""
    refused = a_host().handle(Request("GET", DATA))
    assert refused.status == 401
    assert dict(refused.headers)["www-authenticate"].startswith("Basic")
    check_message(refused.json)


def test_what_it_tells_is_valid_by_the_modules() -> None:
    """RFC 8343, 8344, 8348 and 8349: the whole, configuration alone, and each resource."""
    host = a_host()
    whole = ask(host, "GET", DATA).json["ietf-restconf:data"]
    check_all(whole)
    check_config(config_of(host))
    for path in (
        "/ietf-interfaces:interfaces/interface=eth0/ietf-ip:ipv4",
        "/ietf-hardware:hardware",
    ):
        told = ask(host, "GET", DATA + path).json
        place = model().parse_resource_id(path)
        assert list(told.values()) == [model().from_raw(whole).goto(place).raw_value()]
        assert told.keys() == {path.rpartition("/")[2].partition("=")[0]}


def test_state_is_told_unless_configuration_alone_is_asked_for() -> None:
    """RFC 8040, 4.8.1; another query is refused."""
    host = a_host()
    assert b"origin" in ask(host, "GET", IPV4).body
    assert b"origin" not in ask(host, "GET", f"{IPV4}?content=config").body
    assert ask(host, "GET", f"{IPV4}?content=odd").status == 400
    assert ask(host, "GET", f"{IPV4}?depth=1").status == 400
    assert ask(host, "GET", IPV4, accept="text/html").status == 406
    head = ask(host, "HEAD", IPV4)
    assert (head.body, tag_of(head)) == (b"", tag_of(ask(host, "GET", IPV4)))


def test_a_tag_changes_with_what_is_below_it_and_only_then() -> None:
    """RFC 8040, 3.5.2; the datastore's changes with everything (3.4.1.2)."""
    host = a_host()
    names = (DATA, IPV4, f"{INTERFACES}/interface=lo")
    before = [tag_of(ask(host, "GET", name)) for name in names]
    assert ask(host, "PUT", f"{IPV4}/mtu", {"ietf-ip:mtu": 9000}).status == 204
    after = [tag_of(ask(host, "GET", name)) for name in names]
    assert [one == other for one, other in zip(before, after, strict=True)] == [False, False, True]


def test_an_edit_under_an_old_tag_is_refused() -> None:
    """412 (RFC 9110, 13.1.1), and nothing is changed; under the right one it is done."""
    host = a_host()
    tag = tag_of(ask(host, "GET", IPV4))
    ask(host, "PUT", f"{IPV4}/mtu", {"ietf-ip:mtu": 9000})
    refused = ask(host, "PUT", IPV4, MOVED, if_match=tag)
    assert (refused.status, error_of(refused)["error-tag"]) == (412, "operation-failed")
    assert host.memory.pending is None
    now = tag_of(ask(host, "GET", IPV4))
    assert ask(host, "PUT", IPV4, MOVED, if_match=now).status == 204


def test_an_address_takes_effect_later_and_is_kept_at_once() -> None:
    """RFC 8040, 1.4: a power cycle does not bring the old one back."""
    host = a_host()
    moved = ask(host, "PUT", IPV4, MOVED)
    assert [later.after_s for later in moved.later] == [2]
    assert host.memory.running.lan.address == ADDRESS
    assert host.memory.saved.lan.address == "127.44.3.42"
    assert "127.44.3.42" in str(config_of(host))
    assert ADDRESS in ask(host, "GET", IPV4).body.decode()
    act = moved.later[0].act
    assert isinstance(act, Settle)
    host.perform(act)
    assert host.memory.running == host.memory.saved
    assert host.memory.running.lan.gateway == GATEWAY
    assert ask(host, "GET", IPV4).json["ietf-ip:ipv4"].get("mtu") is None  # PUT replaced it


def test_a_yang_patch_is_done_whole() -> None:
    """Its status is the standard's (RFC 8072), done or refused."""
    host = a_host()
    replace = {"edit-id": "1", "operation": "replace", "target": "/", "value": MOVED}
    patch = {"ietf-yang-patch:yang-patch": {"patch-id": "p", "edit": [replace]}}
    check_message(patch)
    done = ask(host, "PATCH", IPV4, patch, YANG_PATCH)
    check_message(done.json)
    assert (done.status, len(done.later)) == (200, 1)
    broken = {"ietf-ip:ipv4": {"address": [{"ip": "127.44.3.43", "prefix-length": 33}]}}
    patch["ietf-yang-patch:yang-patch"]["edit"] = [{**replace, "value": broken}]
    refused = ask(host, "PATCH", IPV4, patch, YANG_PATCH)
    check_message(refused.json)
    assert refused.status == 400


def test_another_clients_lock_keeps_everybody_out() -> None:
    """409 lock-denied, as in the example of RFC 8040, 7.1; reading goes on."""
    host = a_host()
    host.restconf.locked_by = "session 7"
    refused = ask(host, "PUT", IPV4, MOVED)
    assert (refused.status, error_of(refused)["error-tag"]) == (409, "lock-denied")
    assert ask(host, "GET", IPV4).status == 200


def test_what_it_does_not_take_is_refused() -> None:
    """Types, methods, and bodies that are no JSON."""
    host = a_host()
    assert ask(host, "PUT", IPV4, MOVED, "application/json").status == 415
    assert ask(host, "POST", IPV4, MOVED).status == 405
    options = dict(ask(host, "OPTIONS", DATA).headers)
    assert YANG_PATCH in options["accept-patch"]
    host.restconf.takes_yang_patch = False
    assert YANG_PATCH not in dict(ask(host, "OPTIONS", DATA).headers)["accept-patch"]
    assert ask(host, "PATCH", IPV4, {}, YANG_PATCH).status == 415
    headers = {"content-type": "application/yang-data+json", "authorization": _basic()}
    assert host.handle(Request("PUT", IPV4, headers, b"{")).status == 400


def _basic() -> str:
    return "Basic ZW5naW5lZXI6aW52ZW50ZWQtd29yZA=="


def test_a_server_may_lack_modules() -> None:
    """Then they are not found, and an edit of what is there goes on."""
    host = a_host()
    host.restconf.tells_hardware = host.restconf.tells_routing = False
    for name in ("ietf-hardware:hardware", "ietf-routing:routing"):
        assert ask(host, "GET", f"{DATA}/{name}").status == 404
    assert ask(host, "PUT", IPV4, MOVED).status == 204
    assert host.memory.saved.lan.gateway == GATEWAY


def test_a_unit_without_a_user_takes_a_bearer_token() -> None:
    """RFC 6750."""
    text = json.dumps(
        {
            "networks": {"media": {"subnet": "127.44.3.0/24"}},
            "devices": {
                "host": {
                    "make": "restconf",
                    "model": "SH-1",
                    "serial": "SW-8",
                    "firmware": "1",
                    "address": ADDRESS,
                    "prefix": 24,
                    "sign_in": {"secret": "word"},
                }
            },
        }
    )
    host = type(a_world()).from_text(text).machine("host")
    asked = Request("GET", DATA, {"authorization": "Bearer word"})
    assert host.handle(asked).status == 200
    assert host.handle(Request("GET", DATA)).status == 401


def test_two_changes_of_address_at_once_are_refused() -> None:
    """The second while the first is on its way."""
    host = a_host()
    ask(host, "PUT", IPV4, MOVED)
    other = {"ietf-ip:ipv4": {"address": [{"ip": "127.44.3.43", "prefix-length": 24}]}}
    assert error_of(ask(host, "PUT", IPV4, other))["error-tag"] == "resource-denied"
