import dataclasses
from typing import Any

import pytest

from orchestrator.adapters.declared.dialect import Declared
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.errors import Broken, Rejected
from orchestrator.facility.description import Description, WriteRule
from orchestrator.facility.found import DestinationState, Identity, InterfaceState, SourceState
from orchestrator.facility.step import StepKind
from orchestrator.running.protocols import EVERYTHING, Part
from tests.adapters.makes import (
    CORVID,
    DEVICE,
    GROUP,
    PARTY,
    TAMARISK,
    a_step,
    answered,
    by_path,
    played,
    readdress,
    renumber,
    repoint,
)

K = StepKind


def node(**more: Any) -> Declared:
    """A Tamarisk node whose first input the plan calls mic."""
    return Declared(TAMARISK, PARTY, sources={"mic": "input-1"}, **more)


def asked(requests: list[Request]) -> list[tuple[str, str]]:
    """Methods and paths."""
    return [(request.method, request.path) for request in requests]


def changed(path: str, value: object) -> dict[str, object]:
    """The device's answers with one path's changed."""
    return {**DEVICE, path: value}


def test_identify_asks_once_by_next_and_send() -> None:
    """A talk needs next and send, and no event loop."""
    talk = node().identify()
    request = next(talk)
    assert (request.method, request.path, request.body) == ("GET", "/api/info", None)
    with pytest.raises(StopIteration) as end:
        talk.send(answered(DEVICE["/api/info"]))
    assert end.value.value == Identity(serial="TM-118", model="TN-8", firmware="2.7")


def test_everything_is_read_identity_first_each_path_once() -> None:
    """Two settings of one path cost one request."""
    state, requests = played(node().read(EVERYTHING), by_path)
    assert asked(requests) == [
        ("GET", "/api/info"),
        ("GET", "/api/ports"),
        ("GET", "/api/tx"),
        ("GET", "/api/rx"),
        ("GET", "/api/clock"),
        ("GET", "/api/store"),
    ]
    assert state.identity.serial == "TM-118"
    assert state.interfaces == {"main": InterfaceState(address="127.44.3.71", prefix=24)}
    assert state.sources == {
        "mic": SourceState(number=421, groups=(GROUP,), label="MIC-1", enabled=True),
        "input-2": SourceState(number=None, groups=(None,), label="", enabled=False),
    }
    assert state.destinations == {
        "output-1": DestinationState(hears=GROUP, label="MON"),
        "output-2": DestinationState(hears=None),
    }
    assert state.settings == {"ptp_domain": 0, "ptp_priority": 128}
    assert state.unsaved is True


@pytest.mark.parametrize("part", list(Part))
def test_a_part_is_read_by_itself(part: Part) -> None:
    """Parts not asked for stand empty and cost nothing."""
    state, requests = played(node().read(frozenset({part})), by_path)
    assert len(requests) == 2
    filled = {
        name
        for name in ("interfaces", "sources", "destinations", "settings")
        if getattr(state, name)
    }
    assert filled == ({part.value} - {"unsaved"})
    assert (state.unsaved is None) == (part is not Part.UNSAVED)


def test_what_a_description_does_not_read_is_empty() -> None:
    """A make without a way to tell unsaved changes says nothing of them."""
    answers = {
        "/unit": {"serial": "CV-1", "product": "CE-40", "release": "4.1.2"},
        "/lan": {"lan": {"ip": "127.44.3.31", "prefix": 24, "router": None}},
        "/streams": {"streams": []},
        "/inputs": {"inputs": [{"slot": "codec-1", "channel": 512, "title": ""}]},
        "/clock": {"domain": 0},
    }
    state, _ = played(Declared(CORVID, PARTY).read(), lambda r: answered(answers[r.path]))
    assert state.unsaved is None
    assert state.interfaces["main"].address == "127.44.3.31"
    assert state.destinations["codec-1"].hears == 512


@pytest.mark.parametrize(
    ("path", "answer", "words"),
    [
        ("/api/info", {"id": {}}, "GET /api/info: there is no value at /id/sn"),
        ("/api/tx", {"tx": {"1": {}}}, "GET /api/tx: there is no value at /tx/1/num"),
        ("/api/ports", {}, "GET /api/ports: there is no value at /ports"),
        ("/api/store", {"pending": "yes"}, 'at /pending, "yes" is neither true nor false'),
        ("/api/clock", {"domain": {}}, "at /domain, an object is no single value"),
        (
            "/api/rx",
            {"rx": {"1": {"from": 5.5, "name": ""}}},
            "GET /api/rx: at /rx/1/from, 5.5 is no text",
        ),
    ],
)
def test_an_answer_that_makes_no_sense_names_path_and_pointer(
    path: str, answer: object, words: str
) -> None:
    """Whoever corrects the description sees where."""
    answers = changed(path, answer)
    with pytest.raises(Broken) as broken:
        played(node().read(), lambda request: answered(answers[request.path]))
    assert words in broken.value.said
    assert (broken.value.device, broken.value.address) == ("rack-node", "127.44.3.71")


def test_an_answer_that_is_no_json_is_broken() -> None:
    """A page of HTML with status 200 is no state."""
    with pytest.raises(Broken, match="asking who it is") as broken:
        played(node().identify(), lambda _: Response(status=200, body=b"<html>"))
    assert broken.value.said == "GET /api/info: the answer is no JSON"


@pytest.mark.parametrize(
    ("step", "method", "path", "body"),
    [
        (a_step(K.DISABLE, False, source="mic"), "PUT", "/api/tx/1", {"state": "off"}),
        (a_step(K.ENABLE, True, source="input-2"), "PUT", "/api/tx/2", {"state": "on"}),
        (
            renumber(77, GROUP, "mic"),
            "PUT",
            "/api/tx/1",
            {"num": "0077", "dest": GROUP},
        ),
        (renumber(None, None, "mic"), "PUT", "/api/tx/1", {"num": "----", "dest": ""}),
        (a_step(K.SET, "A", source="mic", setting="label"), "PUT", "/api/tx/1", {"name": "A"}),
        (a_step(K.SET, 5, setting="ptp_domain"), "PUT", "/api/clock", {"domain": 5}),
        (repoint(group=GROUP), "PUT", "/api/rx/1", {"from": GROUP}),
        (repoint(), "PUT", "/api/rx/1", {"from": ""}),
        (a_step(K.SAVE), "POST", "/api/store", None),
        (readdress(None), "PUT", "/api/ports/main", {"addr": "127.44.3.72/25", "gw": ""}),
        (
            readdress("127.44.3.254"),
            "PUT",
            "/api/ports/main",
            {"addr": "127.44.3.72/25", "gw": "127.44.3.254"},
        ),
    ],
)
def test_each_step_is_one_write(step: Any, method: str, path: str, body: object) -> None:
    """After a read, each kind of step is just one request, with the keys then seen."""
    device = node()
    played(device.read(), by_path)
    _, requests = played(device.write(step), by_path)
    assert [(r.method, r.path, r.body) for r in requests] == [(method, path, body)]
    assert not requests[0].reads


def test_a_key_not_known_yet_is_read_first() -> None:
    """Writing without an earlier read reads that part, and remembers."""
    device = node()
    step = a_step(K.DISABLE, False, source="mic")
    assert asked(played(device.write(step), by_path)[1]) == [
        ("GET", "/api/tx"),
        ("PUT", "/api/tx/1"),
    ]
    assert asked(played(device.write(step), by_path)[1]) == [("PUT", "/api/tx/1")]


def test_a_key_follows_the_last_read() -> None:
    """A device that renumbers its slots is spoken to by what it said last."""
    slots: dict[str, object] = {"serial": "1", "product": "CE-40", "release": "1"}
    stream = {"slot": "program-1", "channel": 1, "dest": "", "title": "", "sending": False}
    device = Declared(CORVID, PARTY, sources={"pgm": "program-1"})
    only = frozenset({Part.SOURCES})

    def answer(request: Request) -> Response:
        return answered(slots if request.path == "/unit" else {"streams": [stream]})

    played(device.read(only), answer)
    stream["slot"] = "program-2"
    played(device.read(only), answer)
    with pytest.raises(Rejected, match="no 'pgm' among its sources"):
        played(device.write(a_step(K.DISABLE, False, source="pgm")), answer)


def test_an_unknown_name_is_refused_after_one_more_look() -> None:
    """What the device does not have is not written to."""
    device = node()
    played(device.read(), by_path)
    with pytest.raises(Rejected) as refused:
        played(device.write(a_step(K.DISABLE, False, source="input-9")), by_path)
    assert refused.value.said == "the device has no 'input-9' among its sources"
    assert refused.value.doing == "disabling source input-9"


def test_values_that_the_step_does_not_give_are_read_afresh() -> None:
    """A device that wants the whole entry gets the rest back as it stands now."""
    whole = WriteRule(
        method="PUT",
        path="/api/tx/{key}",
        body={"num": "{number}", "dest": "{group}", "name": "{label}", "state": "{enabled}"},
    )
    description = dataclasses.replace(TAMARISK, writes={K.RENUMBER: whole})
    device = Declared(description, PARTY)
    played(device.read(), by_path)
    later = {"tx": {"1": {"num": "0421", "dest": GROUP, "name": "NEW", "state": "off"}}}
    answers = changed("/api/tx", later)
    _, requests = played(
        device.write(renumber(77, "239.194.0.77:5004")),
        lambda r: answered(answers[r.path]) if r.reads else Response(status=204),
    )
    assert asked(requests) == [("GET", "/api/tx"), ("PUT", "/api/tx/1")]
    assert requests[-1].body == {
        "num": "0077",
        "dest": "239.194.0.77:5004",
        "name": "NEW",
        "state": "off",
    }


def test_settings_written_together_are_read_afresh() -> None:
    """One setting changes; the other of the same request goes back as it stands."""
    _, requests = played(node().write(a_step(K.SET, 100, setting="ptp_priority")), by_path)
    assert asked(requests) == [("GET", "/api/clock"), ("PUT", "/api/clock")]
    assert requests[-1].body == {"domain": 0, "priority": 100}


def test_a_rule_that_names_nothing_known_is_refused() -> None:
    """A placeholder that neither step nor device fills sends nothing."""
    rule = WriteRule(method="PUT", path="/api/clock", body={"x": "{nonsense}"})
    description = dataclasses.replace(TAMARISK, setting_writes={"ptp_domain": rule})
    with pytest.raises(Rejected, match="no setting 'nonsense'"):
        played(Declared(description, PARTY).write(a_step(K.SET, 1, setting="ptp_domain")), by_path)


@pytest.mark.parametrize("key", ["..", "factory-reset"])
def test_a_key_from_the_device_leads_nowhere_else(key: str) -> None:
    """A device that names a slot so that the path would change is not written to."""
    held = {"tx": {key: {"num": "----", "dest": "", "name": "", "state": "off"}}}
    answers = changed("/api/tx", held)
    device = Declared(TAMARISK, PARTY)
    step = a_step(K.DISABLE, False, source=f"input-{key}")
    with pytest.raises(Rejected):
        played(device.write(step), lambda request: answered(answers[request.path]))


def test_no_rule_is_a_clear_refusal() -> None:
    """A step kind without a rule sends nothing and says what is missing."""
    description: Description = dataclasses.replace(TAMARISK, writes={})
    with pytest.raises(Rejected) as refused:
        next(Declared(description, PARTY).write(a_step(K.SAVE)))
    assert refused.value.said == "the device description tamarisk-node has no rule for 'save'"
    assert refused.value.status == 0


def test_the_answer_to_an_accepted_write_is_not_believed_or_needed() -> None:
    """What counts is the read-back; nonsense after a 200 does no harm."""
    device = node()
    result, _ = played(device.write(a_step(K.SAVE)), lambda _: Response(status=200, body=b"{{{"))
    assert result is None
