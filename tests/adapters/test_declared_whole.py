"""Whole-object writes, preconditions, forms, and values that stand elsewhere, of one talk each."""

import dataclasses
from typing import Any

import pytest

from orchestrator.adapters.declared.dialect import Declared
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.errors import Broken, OtherHand, Rejected
from orchestrator.facility.description import Description, Json, Pick, Read, WriteRule
from orchestrator.facility.step import AddressValue, Assigned, Step, StepKind
from orchestrator.running.protocols import Part
from tests.adapters.makes import (
    CORVID,
    DEVICE,
    GROUP,
    PARTY,
    TAMARISK,
    a_step,
    answered,
    played,
    renumber,
)

K = StepKind
ENTRY = {"num": "0421", "dest": GROUP, "name": "MIC-1", "state": "on", "extra": {"a": [1]}}
OTHER = {"num": "----", "dest": "", "name": "", "state": "off"}
ALL = {"tx": {"1": ENTRY, "2": OTHER}}
BODY = {"num": "{number}", "dest": "{group}"}


def described(rule: WriteRule, kind: StepKind = K.RENUMBER, **more: Any) -> Description:
    """A node with one write."""
    return dataclasses.replace(TAMARISK, writes={kind: rule}, **more)


def whole(path: str, **more: Any) -> WriteRule:
    """A whole-object write."""
    return WriteRule(method="PUT", path=path, body=BODY, whole=True, **more)


def found(step: Step, value: Any) -> Step:
    """The step, with what it found."""
    return dataclasses.replace(step, as_found=value)


def holding(tag: str = '"7"', **documents: Json) -> Any:
    """A device that answers with these documents (a path's slashes as ``_``) and an ETag."""

    def answer(request: Request) -> Response:
        if not request.reads:
            return Response(status=204)
        key = request.path.strip("/").replace("/", "_")
        held = documents.get(key, DEVICE.get(request.path))
        response = answered(held)
        return dataclasses.replace(response, headers={"etag": tag} if tag else {})

    return answer


STEP = found(renumber(77, "239.194.0.77:5004"), Assigned(421, (GROUP,)))


def test_an_entry_is_read_changed_and_sent_whole() -> None:
    """What the tool knows nothing of goes back as it was read; the tag of that read goes along."""
    device = Declared(described(whole("/api/tx/{key}", if_match=True)), PARTY)
    _, asked = played(device.write(STEP), holding(api_tx_1=ENTRY, api_tx=ALL))
    assert [(r.method, r.path) for r in asked] == [
        ("GET", "/api/tx"),
        ("GET", "/api/tx/1"),
        ("PUT", "/api/tx/1"),
    ]
    assert asked[-1].body == {**ENTRY, "num": "0077", "dest": "239.194.0.77:5004"}
    assert asked[-1].headers == (("If-Match", '"7"'),)
    _, again = played(device.write(STEP), holding(api_tx_1=ENTRY, api_tx=ALL))
    assert [r.path for r in again] == ["/api/tx/1", "/api/tx/1"]


def test_the_whole_list_can_be_what_is_sent() -> None:
    """A make whose list is written in one: the entry's place in it is changed, the rest stays."""
    device = Declared(described(whole("/api/tx")), PARTY)
    _, asked = played(device.write(STEP), holding(api_tx=ALL))
    assert [(r.method, r.path) for r in asked] == [("GET", "/api/tx"), ("PUT", "/api/tx")]
    changed = {**ENTRY, "num": "0077", "dest": "239.194.0.77:5004"}
    assert asked[-1].body == {"tx": {"1": changed, "2": OTHER}}
    assert asked[-1].headers == ()


@pytest.mark.parametrize(
    "now",
    [{**ENTRY, "num": "0500"}, {**ENTRY, "dest": "239.194.9.9:5004"}],
    ids=["number", "group"],
)
def test_another_hand_between_is_not_overwritten(now: Json) -> None:
    """What is read for the write is no longer what the step found: nothing is sent."""
    device = Declared(described(whole("/api/tx/{key}")), PARTY)
    talk = device.write(STEP)
    with pytest.raises(OtherHand, match="no longer as found"):
        played(talk, holding(api_tx_1=now, api_tx=ALL))


def test_what_is_half_done_may_be_finished() -> None:
    """The number is as wanted already, the group as found: nobody else was there."""
    device = Declared(described(whole("/api/tx/{key}")), PARTY)
    now = {**ENTRY, "num": "0077"}
    _, asked = played(device.write(STEP), holding(api_tx_1=now, api_tx=ALL))
    assert asked[-1].method == "PUT"


def test_what_the_step_does_not_give_is_taken_from_the_same_read() -> None:
    """A placeholder of another field is filled from the entry that the write goes back to."""
    rule = dataclasses.replace(whole("/api/tx/{key}"), body={"num": "{number}", "tag": "{label}"})
    device = Declared(described(rule), PARTY)
    now = {**ENTRY, "name": "NEW"}
    _, asked = played(device.write(STEP), holding(api_tx_1=now, api_tx=ALL))
    assert asked[-1].body == {**now, "num": "0077", "tag": "NEW"}


@pytest.mark.parametrize(
    ("tag", "words"), [("", "has no ETag"), ('W/"7"', "can't stand in If-Match")]
)
def test_without_a_strong_tag_nothing_is_sent(tag: str, words: str) -> None:
    """The description promises a tag; a device that gives none is not written to blindly."""
    device = Declared(described(whole("/api/tx/{key}", if_match=True)), PARTY)
    with pytest.raises(Broken) as broken:
        played(device.write(STEP), holding(tag, api_tx_1=ENTRY, api_tx=ALL))
    assert words in broken.value.said
    assert "GET /api/tx/1" in broken.value.said


@pytest.mark.parametrize("gone", [{"tx": {"2": OTHER}}, {"tx": {"1": None, "2": OTHER}}])
def test_an_entry_that_is_gone_is_not_made_anew(gone: Json) -> None:
    """A slot that was emptied meanwhile."""
    device = Declared(described(whole("/api/tx")), PARTY)
    with pytest.raises(Broken, match="there is no 'input-1' among its sources"):
        played(device.write(STEP), holding(api_tx=gone))


def test_a_whole_object_can_go_as_a_form() -> None:
    """As long as it is flat; one that is not is refused before anything is sent."""
    flat = {name: value for name, value in ENTRY.items() if name != "extra"}
    rule = whole("/api/tx/{key}", content_type="application/x-www-form-urlencoded")
    device = Declared(described(rule), PARTY)
    _, asked = played(device.write(STEP), holding(api_tx_1=flat, api_tx=ALL))
    assert asked[-1].body == {**flat, "num": "0077", "dest": "239.194.0.77:5004"}
    with pytest.raises(Rejected, match="can't stand inside a text"):
        played(device.write(STEP), holding(api_tx_1=ENTRY, api_tx=ALL))


def test_a_setting_is_written_whole() -> None:
    """The document is the object; the other settings in it go back as they are."""
    rule = WriteRule(method="PUT", path="/api/clock", body={"domain": "{value}"}, whole=True)
    device = Declared(described(rule, setting_writes={"ptp_domain": rule}), PARTY)
    step = found(a_step(K.SET, 5, setting="ptp_domain"), 0)
    _, asked = played(device.write(step), holding())
    assert [(r.method, r.path) for r in asked] == [("GET", "/api/clock"), ("PUT", "/api/clock")]
    assert asked[-1].body == {"domain": 5, "priority": 128}
    with pytest.raises(OtherHand, match="its value is no longer as found"):
        played(device.write(found(step, 1)), holding())


def test_an_address_is_written_whole() -> None:
    """One document holds address and gateway in different places, and more beside them."""
    fields = {
        "address": Pick(at="/net/ip"),
        "prefix": Pick(at="/net/bits"),
        "gateway": Pick(at="/routes/default", unassigned="none", has_unassigned=True),
    }
    reads = {**TAMARISK.reads, Part.INTERFACES: Read(get="/config", fields=fields)}
    rule = WriteRule(
        method="PUT",
        path="/config",
        body={"net": {"ip": "{address}", "bits": "{prefix}"}, "routes": {"default": "{gateway}"}},
        whole=True,
    )
    device = Declared(described(rule, K.READDRESS, reads=reads), PARTY)
    held = {
        "net": {"ip": "127.44.3.71", "bits": 24, "mtu": 1500},
        "routes": {"default": "none"},
        "dns": [],
    }
    step = found(
        a_step(K.READDRESS, AddressValue("main", "127.44.3.72", 25, "127.44.3.254")),
        AddressValue("main", "127.44.3.71", 24),
    )
    _, asked = played(device.write(step), holding(config=held))
    assert asked[-1].body == {
        "net": {"ip": "127.44.3.72", "bits": 25, "mtu": 1500},
        "routes": {"default": "127.44.3.254"},
        "dns": [],
    }


def test_a_patch_states_what_it_takes_for_granted() -> None:
    """What the step found stands in the test; a 409 then means another hand."""
    body = [
        {"op": "test", "path": "/{key}/num", "value": "{found_number}"},
        {"op": "replace", "path": "/{key}/num", "value": "{number}"},
    ]
    rule = WriteRule(
        method="PATCH", path="/api/tx", body=body, content_type="application/json-patch+json"
    )
    device = Declared(described(rule), PARTY)
    _, asked = played(device.write(STEP), holding(api_tx=ALL))
    assert asked[-1].body == [
        {"op": "test", "path": "/1/num", "value": "0421"},
        {"op": "replace", "path": "/1/num", "value": "0077"},
    ]
    assert asked[-1].overtaken == {409}
    with pytest.raises(Rejected, match="does not say what 'found_number' is"):
        played(device.write(found(STEP, None)), holding(api_tx=ALL))


def test_values_that_stand_elsewhere_are_fetched_there() -> None:
    """A label in a document of its own for each entry, a gateway in one for all."""
    read = TAMARISK.reads
    sources = dataclasses.replace(
        read[Part.SOURCES],
        fields={
            **read[Part.SOURCES].fields,
            "label": Pick(at="/text", get="/api/names/{key}"),
        },
    )
    fields = {
        **read[Part.INTERFACES].fields,
        "gateway": Pick(at="/via", get="/api/route", unassigned=None, has_unassigned=True),
    }
    ports = dataclasses.replace(read[Part.INTERFACES], fields=fields)
    reads = {**read, Part.SOURCES: sources, Part.INTERFACES: ports}
    device = Declared(dataclasses.replace(TAMARISK, reads=reads), PARTY)
    answer = holding(
        api_names_1={"text": "ONE"}, api_names_2={"text": "TWO"}, api_route={"via": "127.44.3.254"}
    )
    state, asked = played(device.read(frozenset({Part.SOURCES, Part.INTERFACES})), answer)
    assert [s.label for s in state.sources.values()] == ["ONE", "TWO"]
    assert state.interfaces["main"].gateway == "127.44.3.254"
    assert [r.path for r in asked] == [
        "/api/info",
        "/api/ports",
        "/api/route",
        "/api/tx",
        "/api/names/1",
        "/api/names/2",
    ]
    broken = holding(api_names_1={}, api_names_2={"text": "x"}, api_route={"via": None})
    with pytest.raises(Broken, match="no value at /text of GET /api/names"):
        played(device.read(frozenset({Part.SOURCES})), broken)


def test_a_slot_whose_name_makes_no_path_is_told() -> None:
    """A value kept elsewhere can't be asked for under such a key."""
    fields = {**TAMARISK.reads[Part.SOURCES].fields, "label": Pick(at="", get="/n/{key}")}
    reads = {
        **TAMARISK.reads,
        Part.SOURCES: dataclasses.replace(TAMARISK.reads[Part.SOURCES], fields=fields),
    }
    device = Declared(dataclasses.replace(TAMARISK, reads=reads), PARTY)
    with pytest.raises(Broken, match="can't be part of a path"):
        played(device.read(frozenset({Part.SOURCES})), holding(api_tx={"tx": {"..": ENTRY}}))


def only(*names: str) -> Description:
    """A node whose sources show only these fields."""
    read = TAMARISK.reads[Part.SOURCES]
    fields = {name: read.fields[name] for name in (*names, "label", "enabled")}
    sources = dataclasses.replace(read, fields=fields)
    return dataclasses.replace(TAMARISK, reads={**TAMARISK.reads, Part.SOURCES: sources})


def test_a_device_that_knows_numbers_alone_has_no_groups() -> None:
    """It is judged by its number; a group can't be set on it."""
    device = Declared(only("number"), PARTY)
    state, _ = played(device.read(frozenset({Part.SOURCES})), holding())
    assert (state.sources["input-1"].number, state.sources["input-1"].groups) == (421, ())
    rule = WriteRule(method="PUT", path="/api/tx/{key}", body={"num": "{number}"})
    writer = Declared(dataclasses.replace(only("number"), writes={K.RENUMBER: rule}), PARTY)
    plain = a_step(K.RENUMBER, Assigned(77), source="input-1")
    assert played(writer.write(plain), holding())[1][-1].body == {"num": "0077"}
    with pytest.raises(Rejected, match="tells no group"):
        played(writer.write(renumber(77, GROUP)), holding())


def test_a_device_that_knows_groups_alone_is_numbered_by_the_plans_rule() -> None:
    """The number of its group, where the rule has one; else it counts as unassigned."""
    device = Declared(only("group"), PARTY, number_of={GROUP: 421}.get)
    state, _ = played(device.read(frozenset({Part.SOURCES})), holding())
    assert [s.number for s in state.sources.values()] == [421, None]
    bare = Declared(only("group"), PARTY)
    state, _ = played(bare.read(frozenset({Part.SOURCES})), holding())
    assert state.sources["input-1"].number is None
    rule = WriteRule(method="PUT", path="/api/tx/{key}", body={"dest": "{group}"})
    writer = Declared(dataclasses.replace(only("group"), writes={K.RENUMBER: rule}), PARTY)
    _, asked = played(writer.write(STEP), holding())
    assert asked[-1].body == {"dest": "239.194.0.77:5004"}


def test_a_gateway_that_no_write_carries_is_not_lost_in_silence() -> None:
    """A readdress that would leave the old gateway behind is refused before it is sent."""
    rule = WriteRule(method="PUT", path="/lan", body={"ip": "{address}", "prefix": "{prefix}"})
    device = Declared(dataclasses.replace(CORVID, writes={K.READDRESS: rule}), PARTY)
    was = AddressValue("main", "127.44.3.31", 24, "127.44.3.254")
    step = found(a_step(K.READDRESS, AddressValue("main", "127.44.4.31", 24, "127.44.4.254")), was)
    with pytest.raises(Rejected, match=r"gateway is to change from 127\.44\.3\.254"):
        next(device.write(step))
    stays = dataclasses.replace(step, wanted=AddressValue("main", "127.44.3.32", 24, was.gateway))
    assert next(device.write(stays)).method == "PUT"
