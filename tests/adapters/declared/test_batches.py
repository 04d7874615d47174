"""Several steps in one request of a described device."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from orchestrator.adapters.declared import batches
from orchestrator.adapters.declared.dialect import Declared
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.errors import Busy, DeviceError, OutcomeUnknown, PartlyRefused, Rejected
from orchestrator.facility.description import BatchRule, Description, Fates, Json, WriteRule
from orchestrator.facility.step import Step, StepKind
from tests.adapters.makes import (
    GROUP,
    PARTY,
    TAMARISK,
    a_step,
    answered,
    by_path,
    played,
    renumber,
    repoint,
)

K = StepKind
OFF = replace(a_step(K.DISABLE, wanted=False, source="input-1"), id="off")
MOVED = replace(renumber(422, GROUP, "input-2"), id="moved")
EACH: Mapping[StepKind, Json] = {
    K.DISABLE: {"n": "{key}", "state": "{enabled}"},
    K.RENUMBER: {"n": "{key}", "num": "{number}", "name": "{label}"},
}
FATES = Fates(entries="/did", at="/ok", done=(True, "yes"), busy=("wait",), key="/n", why="/why")
BATCH = BatchRule(
    rule=WriteRule(method="POST", path="/api/many", body={"do": "{each}"}), each=EACH, most=2
)


def described(batch: BatchRule) -> Description:
    """A node that takes several at once."""
    return replace(TAMARISK, batches=(batch,))


def sent(batch: BatchRule, *steps: Step) -> list[Request]:
    """The requests of steps that go together."""
    return played(Declared(described(batch), PARTY).write_together(steps), by_path)[1]


def told(fates: Fates, said: Json, *steps: Step) -> Mapping[str, DeviceError]:
    """What is said of steps that go together, where the device answers so."""
    dialect = Declared(described(replace(BATCH, fates=fates)), PARTY)
    with pytest.raises(PartlyRefused) as refused:
        played(dialect.write_together(steps or (OFF, MOVED)), saying(said))
    assert refused.value.device == PARTY.device
    return refused.value.refused


def saying(said: Json) -> Callable[[Request], Response]:
    """Answers writes so."""
    return lambda request: by_path(request) if request.reads else answered(said)


def test_a_list_of_what_each_wants() -> None:
    """In the device's own writing; what a step does not give is read, once for all."""
    requests = sent(BATCH, OFF, MOVED)
    assert [one.path for one in requests] == ["/api/tx", "/api/many"]
    assert requests[-1].method == "POST"
    assert requests[-1].body == {
        "do": [{"n": "1", "state": "off"}, {"n": "2", "num": "0422", "name": ""}]
    }


def test_an_object_with_each_under_its_own_key() -> None:
    """As devices do that name their entries so."""
    each = {K.DISABLE: {"state": "{enabled}"}, K.RENUMBER: {"num": "{number}"}}
    request = sent(replace(BATCH, by_key=True, each=each), OFF, MOVED)[-1]
    assert request.body == {"do": {"1": {"state": "off"}, "2": {"num": "0422"}}}


def test_a_json_patch_is_one_list_of_operations() -> None:
    """RFC 6902: all of it or none; a test that fails is another hand's work."""
    operations = [
        {"op": "test", "path": "/tx/{key}/state", "value": "{found_enabled}"},
        {"op": "replace", "path": "/tx/{key}/state", "value": "{enabled}"},
    ]
    rule = WriteRule(
        method="PATCH", path="/api", body="{each}", content_type="application/json-patch+json"
    )
    batch = replace(BATCH, rule=rule, each={K.DISABLE: operations})
    steps = [replace(OFF, id=name, source=name, as_found=True) for name in ("input-1", "input-2")]
    request = sent(batch, *steps)[-1]
    assert [(one["op"], one["path"], one["value"]) for one in request.body] == [
        ("test", "/tx/1/state", "on"),
        ("replace", "/tx/1/state", "off"),
        ("test", "/tx/2/state", "on"),
        ("replace", "/tx/2/state", "off"),
    ]
    assert request.overtaken == {409}


def test_what_does_not_go_together_is_refused_and_nothing_is_sent() -> None:
    """More than it takes, or a kind that is not in it."""
    for steps in ((OFF, MOVED, OFF), (OFF, repoint(group=GROUP))):
        dialect = Declared(described(BATCH), PARTY)
        with pytest.raises(Rejected, match="no batch"):
            played(dialect.write_together(steps), by_path)


def test_what_can_not_be_said_is_left_out() -> None:
    """The others are sent, and it is told."""
    nobody = replace(OFF, id="none", source="input-9")
    refused = told(FATES, {"did": [{"n": "1", "ok": True}]}, OFF, nobody)
    assert {step: type(error) for step, error in refused.items()} == {"none": Rejected}


def test_without_fates_a_yes_is_for_all() -> None:
    """And a no as well: it is judged as any answer is."""
    assert sent(BATCH, OFF, MOVED)[-1].also_fine == frozenset()


@pytest.mark.parametrize(
    ("one", "kind", "said"),
    [
        ({"n": "2", "ok": False, "why": "mute it first"}, Rejected, "mute it first"),
        ({"n": "2", "ok": False}, Rejected, "the answer says false"),
        ({"n": 2, "ok": 1}, Rejected, "the answer says 1"),
        ({"n": 2}, Rejected, "the answer says null"),
        ({"n": "2", "ok": "wait", "why": 7}, Busy, 'the answer says "wait"'),
        ({"n": "3", "ok": True}, OutcomeUnknown, "does not say"),
        ({"n": None, "ok": True}, OutcomeUnknown, "does not say"),
        (7, OutcomeUnknown, "does not say"),
    ],
)
def test_each_has_its_own_fate(one: Json, kind: type[DeviceError], said: str) -> None:
    """By its key; what the answer does not name, nobody knows of."""
    refused = told(FATES, {"did": [{"n": "1", "ok": "yes"}, one]})
    assert set(refused) == {"moved"}
    assert type(refused["moved"]) is kind
    assert said in refused["moved"].said


def test_fates_by_the_objects_keys_or_in_order() -> None:
    """Without a key in the entries; one more or one less than were sent says nothing."""
    plain = replace(FATES, key=None)
    assert set(told(plain, {"did": {"1": {"ok": False}, "2": {"ok": True}}})) == {"off"}
    assert set(told(plain, {"did": [{"ok": True}, {"ok": False}]})) == {"moved"}
    assert set(told(replace(plain, at=""), {"did": {"1": True, "2": None}})) == {"moved"}
    keyed = {"did": {"a": {"n": 1, "ok": True}, "b": {"n": 2, "ok": False}}}
    assert set(told(FATES, keyed)) == {"moved"}
    twice = {"did": [{"n": "1", "ok": True}, {"n": "1", "ok": True}, {"n": "2", "ok": True}]}
    assert set(told(FATES, twice)) == {"off"}


@pytest.mark.parametrize("said", [{}, {"did": 7}, {"did": [{"ok": True}]}, []])
def test_an_answer_that_says_nothing_of_any(said: Json) -> None:
    """So all of them are looked at."""
    dialect = Declared(described(replace(BATCH, fates=replace(FATES, key=None))), PARTY)
    with pytest.raises(OutcomeUnknown):
        played(dialect.write_together((OFF, MOVED)), saying(said))


def test_an_answer_that_is_no_json() -> None:
    """The same."""
    parts = [batches.Part("a", "x", "1", {})]
    with pytest.raises(OutcomeUnknown):
        batches.refused(FATES, Response(status=200, body=b"done"), parts, PARTY)


def test_the_first_batch_that_takes_them() -> None:
    """Kinds and number both fit."""
    pointed = BatchRule(rule=BATCH.rule, each={K.REPOINT: {"n": "{key}"}}, most=3)
    both: Any = replace(TAMARISK, batches=(BATCH, pointed))
    at = repoint(group=GROUP)
    assert batches.batch_for(both, (OFF, MOVED)) is BATCH
    assert batches.batch_for(both, (at, at, at)) is pointed
    assert batches.batch_for(both, (at, OFF)) is None
    assert json.dumps(BATCH.rule.body) == '{"do": "{each}"}'
