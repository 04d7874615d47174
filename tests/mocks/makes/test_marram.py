"""The MR-6: each of its odd ways, and what it refuses."""

import json
from typing import Any
from urllib.parse import urlencode

import pytest

from mocks.device import Unit
from mocks.makes.marram import FORM, JSON_PATCH, MERGE_PATCH, REQUESTS_A_SESSION, Marram
from mocks.messages import Request, Response, Restart, Settle
from mocks.state import Destination, Lan, Memory, Source, State

UNIT = Unit("desk", "MR-6", "MM-42", "1.9.4", "engineer", "invented word", 0.15)
PLAIN = "application/json"


def device() -> Marram:
    """An MR-6 with outputs 1 and 3 and input 2."""
    state = State(
        Lan("127.44.3.42", 24, "127.44.3.254"),
        {"1": Source(421, "239.194.1.165:5004", "Mic", enabled=True), "3": Source()},
        {"2": Destination(311, "239.194.1.55:5004", "Mon")},
        {"ptp_domain": 0, "ptp_priority": 128},
    )
    return Marram(UNIT, Memory(state, state))


def sit(desk: Marram, word: str = "invented word") -> str:
    """Sign in; gives the cookie."""
    body = urlencode({"login": "engineer", "word": word}).encode()
    headers = {"content-type": FORM}
    response = desk.handle(Request("POST", "/session", headers, body))
    assert response.status == 200
    return dict(response.headers).get("set-cookie", "").partition(";")[0]


def ask(
    desk: Marram, method: str, path: str, body: Any = None, kind: str = PLAIN, **headers: str
) -> Response:
    """A request that is signed in anew."""
    data = urlencode(body).encode() if kind == FORM and body is not None else b""
    if kind != FORM and body is not None:
        data = json.dumps(body).encode()
    given = {"cookie": sit(desk), "content-type": kind}
    given.update({name.replace("_", "-"): value for name, value in headers.items()})
    return desk.handle(Request(method, path, given, data))


def whole(desk: Marram, path: str = "/out/1", **changed: Any) -> Response:
    """Read an output, change it, and send it back with its tag."""
    read = ask(desk, "GET", path)
    return ask(desk, "PUT", path, {**read.json, **changed}, if_match=dict(read.headers)["etag"])


def test_a_cookie_lasts_for_some_requests() -> None:
    """Then it is 401 until somebody signs in again; the cookie is another one then."""
    desk = device()
    cookie = sit(desk)
    statuses = [
        desk.handle(Request("GET", "/about", {"cookie": cookie})).status
        for _ in range(REQUESTS_A_SESSION + 1)
    ]
    assert statuses == [200] * REQUESTS_A_SESSION + [401]
    assert sit(desk) != cookie


def test_who_may_not_sit() -> None:
    """No cookie, another's cookie, a wrong word (200 and no cookie), after a power cycle."""
    desk = device()
    assert desk.handle(Request("GET", "/about", {})).status == 401
    assert desk.handle(Request("GET", "/about", {"cookie": "seat=x"})).status == 401
    assert sit(desk, "wrong") == ""
    cookie = sit(desk)
    desk.reboot()
    assert desk.handle(Request("GET", "/about", {"cookie": cookie})).status == 401
    bad = Request("POST", "/session", {"content-type": PLAIN}, b"{}")
    assert desk.handle(bad).status == 415


def test_it_says_who_and_where_it_is() -> None:
    """The gateway stands in another place than the address."""
    desk = device()
    assert ask(desk, "GET", "/about").json == {
        "unit": {"kind": "MR-6", "no": "MM-42"},
        "soft": "v1.9.4",
    }
    assert ask(desk, "GET", "/net").json["net"]["host"] == "127.44.3.42/24"
    assert ask(desk, "GET", "/route").json == {"default": "127.44.3.254"}


def test_lists_have_holes_and_texts_for_numbers() -> None:
    """An empty place is null; none is no number; a mute is the other way round."""
    desk = device()
    first = {"ch": "CH-0421", "text": "Mic", "mute": 0, "trim": -3}
    third = {"ch": "none", "text": "", "mute": 1, "trim": -3}
    assert ask(desk, "GET", "/out").json == {"out": [first, None, third]}
    assert ask(desk, "GET", "/in").json == {"in": [None, {"from": "CH-0311", "text": "Mon"}]}


def test_an_output_is_taken_whole_with_the_tag_of_its_read() -> None:
    """RFC 6585, 3 (428) and RFC 9110, 15.5.13 (412): nothing is taken blindly."""
    desk = device()
    assert ask(desk, "PUT", "/out/1", {}).status == 428
    assert ask(desk, "PUT", "/out/1", {}, if_match='"x"').status == 412
    assert whole(desk, mute=1).status == 200
    assert whole(desk, ch="CH-0500", trim=-6).status == 200
    assert desk.memory.running.sources["1"] == Source(500, "239.194.1.244:5004", "Mic")
    assert ask(desk, "GET", "/out/1").json["trim"] == -6
    assert desk.memory.saved.sources["1"].number == 421
    assert whole(desk, trim=-3).status == 200


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        ({"ch": "CH-0500"}, 409),
        ({"ch": "0500", "mute": 1}, 422),
        ({"ch": "CH-500", "mute": 1}, 422),
        ({"ch": "CH-00500", "mute": 1}, 422),
        ({"ch": "CH-0000", "mute": 1}, 422),
        ({"ch": 5, "mute": 1}, 422),
        ({"mute": 2}, 422),
        ({"mute": True}, 422),
        ({"more": 1}, 422),
    ],
)
def test_outputs_that_make_no_sense(changed: dict[str, Any], status: int) -> None:
    """It says no, and nothing has changed."""
    desk = device()
    before = desk.memory
    assert whole(desk, **changed).status == status
    assert desk.memory == before


def test_nothing_is_sent_without_a_number() -> None:
    """An output that has none stays muted."""
    assert whole(device(), "/out/3", mute=0).status == 409


def test_several_outputs_at_once() -> None:
    """What is not named of one stays, and each has a fate of its own."""
    desk = device()
    body = {"do": {"1": {"mute": 1}, "3": {"mute": 0}, "9": {"mute": 1}, "2": 7}}
    response = ask(desk, "POST", "/outs", body)
    assert response.status == 200
    did = response.json["did"]
    assert {slot: one["well"] for slot, one in did.items()} == {
        "1": "yes", "3": "no", "9": "no", "2": "no",
    }  # fmt: skip
    assert did["3"]["why"] == "it has no number"
    held = desk.memory.running.sources
    assert (held["1"].enabled, held["1"].number, held["3"].enabled) == (False, 421, False)
    assert ask(desk, "POST", "/outs", {"do": {"1": {"ch": "CH-0422"}}}).json["did"]["1"] == {
        "well": "yes"
    }
    assert desk.memory.running.sources["1"].number == 422


def test_several_outputs_need_from_one_to_eight() -> None:
    """Anything else is refused as a whole, and nothing is done."""
    desk = device()
    bodies: list[Any] = [{"do": {}}, {"do": 7}, {"do": {str(n): {"mute": 1} for n in range(9)}}, {}]
    for body in bodies:
        assert ask(desk, "POST", "/outs", body).status == 422
    assert desk.memory.running.sources["1"].enabled


@pytest.mark.parametrize(("status", "well"), [(409, "no"), (423, "wait")])
def test_one_of_several_is_refused_on_purpose(status: int, well: str) -> None:
    """The others are done."""
    desk = device()
    body = json.dumps({"do": {"1": {"mute": 1}, "3": {"ch": "CH-0500"}}}).encode()
    headers = {"cookie": sit(desk), "content-type": PLAIN}
    response = desk.handle(Request("POST", "/outs", headers, body, refused={"1": status}))
    assert {slot: one["well"] for slot, one in response.json["did"].items()} == {
        "1": well,
        "3": "yes",
    }
    assert desk.memory.running.sources["1"].enabled
    assert desk.memory.running.sources["3"].number == 500


def test_only_the_text_may_be_patched() -> None:
    """By a JSON Patch, whose test has to hold."""
    desk = device()
    test = {"op": "test", "path": "/text", "value": "Mic"}
    put = {"op": "replace", "path": "/text", "value": "Voice"}
    assert ask(desk, "PATCH", "/out/1", [test, put], JSON_PATCH).status == 200
    assert desk.memory.running.sources["1"].label == "Voice"
    assert ask(desk, "PATCH", "/out/1", [test, put], JSON_PATCH).status == 409
    mute = {"op": "replace", "path": "/mute", "value": 1}
    assert ask(desk, "PATCH", "/out/1", [mute], JSON_PATCH).status == 422
    whole_patch = {"op": "replace", "path": "", "value": 1}
    assert ask(desk, "PATCH", "/out/1", [whole_patch], JSON_PATCH).status == 422
    assert ask(desk, "PATCH", "/out/1", [put], MERGE_PATCH).status == 415


def test_an_input_is_set_by_a_form() -> None:
    """And by nothing else."""
    desk = device()
    assert ask(desk, "POST", "/in/2", {"from": "CH-0421"}, FORM).status == 200
    assert desk.memory.running.destinations["2"] == Destination(421, "239.194.1.165:5004", "Mon")
    assert ask(desk, "POST", "/in/2", {"from": "none"}, FORM).status == 200
    assert desk.memory.running.destinations["2"].number == 0
    assert ask(desk, "POST", "/in/2", {"from": "CH-0421", "text": "x"}, FORM).status == 422
    assert ask(desk, "POST", "/in/2", {"from": "CH-0421"}).status == 415
    assert ask(desk, "POST", "/in/9", {"from": "none"}, FORM).status == 404
    given = {"cookie": sit(desk), "content-type": FORM}
    assert desk.handle(Request("POST", "/in/2", given, b"no form")).status == 400


def test_the_clock_takes_a_merge_patch() -> None:
    """What is not named stays as it is; what can't be is refused."""
    desk = device()
    done = ask(desk, "PATCH", "/clock", {"clock": {"domain": 5}}, MERGE_PATCH)
    assert done.json == {"clock": {"domain": 5, "priority": 128}}
    wrongs: list[Any] = [{"clock": {"domain": None}}, {"clock": {"domain": 500}}, {"x": 1}, []]
    for wrong in wrongs:
        assert ask(desk, "PATCH", "/clock", wrong, MERGE_PATCH).status == 422
    given = {"cookie": sit(desk), "content-type": MERGE_PATCH}
    assert desk.handle(Request("PATCH", "/clock", given, b"{")).status == 400


def test_an_address_takes_effect_later_and_has_to_be_kept() -> None:
    """Address and gateway go in one request, though they are told in two places."""
    desk = device()
    done = ask(desk, "PUT", "/net", {"host": "127.44.3.43/25", "via": "none"})
    assert done.status == 202
    (later,) = done.later
    assert isinstance(later.act, Settle)
    desk.perform(later.act)
    assert desk.memory.running.lan == Lan("127.44.3.43", 25, None)
    assert ask(desk, "GET", "/route").json == {"default": "none"}
    assert ask(desk, "GET", "/keep").json == {"kept": "no"}
    assert ask(desk, "POST", "/keep", {"all": "no"}, FORM).status == 422
    assert ask(desk, "POST", "/keep", {"all": "yes"}, FORM).status == 204
    assert ask(desk, "GET", "/keep").json == {"kept": "yes"}
    for wrong in ({"host": "127.44.3.44", "via": "none"}, {"host": "127.44.3.44/24"}):
        assert ask(desk, "PUT", "/net", wrong).status == 422


def test_a_rate_shows_after_a_restart_if_it_was_kept_before() -> None:
    """It is refused while an output is on; without a keep the old one comes back."""
    desk = device()
    assert ask(desk, "PUT", "/rate", {"next": 44100}).status == 422
    assert ask(desk, "PUT", "/rate", {"next": 96000}).json == {"now": 48000, "next": 96000}
    assert ask(desk, "POST", "/restart", {"now": "yes"}, FORM).status == 409
    whole(desk, mute=1)
    assert ask(desk, "POST", "/restart", {"now": "no"}, FORM).status == 422
    response = ask(desk, "POST", "/restart", {"now": "yes"}, FORM)
    assert (response.status, [one.act for one in response.later]) == (202, [Restart(0.15)])
    desk.reboot()
    assert ask(desk, "GET", "/rate").json == {"now": 48000, "next": 48000}
    assert desk.memory.running.sources["1"].enabled, "what was not kept is lost"
    ask(desk, "PUT", "/rate", {"next": 96000})
    ask(desk, "POST", "/keep", {"all": "yes"}, FORM)
    desk.reboot()
    assert ask(desk, "GET", "/rate").json["now"] == 96000
    assert desk.memory.running == desk.memory.saved


def test_the_hold_of_the_meters_shows_once_it_is_kept() -> None:
    """And not before."""
    desk = device()
    assert ask(desk, "PUT", "/meter", {"hold": 10}).status == 422
    assert ask(desk, "PUT", "/meter", {"hold": 3}).json == {"hold": 0}
    ask(desk, "POST", "/keep", {"all": "yes"}, FORM)
    assert ask(desk, "GET", "/meter").json == {"hold": 3}
