from dataclasses import replace
from typing import Any

import pytest

from orchestrator.adapters.declared import values
from orchestrator.adapters.declared.entries import entries
from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.facility.description import Pick, Read


def read(**more: Any) -> Read:
    """A read of one field."""
    return Read(get="/x", fields={}, **more)


def test_an_object_gives_its_keys() -> None:
    """Names are made from keys; the plan's names take their place."""
    found = entries(
        read(entries="/tx", named="input-{key}"), {"tx": {"1": {}, "a/b": {}}}, {"input-1": "mic"}
    )
    assert [(e.name, e.key, e.pointer) for e in found.values()] == [
        ("mic", "1", "/tx/1"),
        ("input-a/b", "a/b", "/tx/a~1b"),
    ]
    assert list(found) == ["mic", "input-a/b"]


def test_a_list_gives_indices_or_keys_inside() -> None:
    """Without a key the index counts; with one, what stands there."""
    held = {"l": [{"slot": "codec-1"}, {"slot": 7}]}
    assert [e.key for e in entries(read(entries="/l"), held, {}).values()] == [0, 1]
    assert [e.key for e in entries(read(entries="/l", key="/slot"), held, {}).values()] == [
        "codec-1",
        7,
    ]


def test_a_document_can_be_the_one_entry() -> None:
    """Where there are no entries, the one is called main, or as the description says."""
    assert list(entries(read(), {"a": 1}, {})) == ["main"]
    assert list(entries(read(named="lan"), {"a": 1}, {})) == ["lan"]


@pytest.mark.parametrize(
    ("at", "held", "words"),
    [
        ({"entries": "/tx"}, {}, "no value at /tx"),
        ({"entries": "/tx"}, {"tx": "x"}, "neither a list nor an object at /tx"),
        ({"entries": "/tx", "key": "/slot"}, {"tx": [{}]}, "no value at /tx/0/slot"),
        (
            {"entries": "/tx", "key": "/s"},
            {"tx": [{"s": True}]},
            "/tx/0 is neither text nor number",
        ),
        ({"entries": "/tx", "key": "/s"}, {"tx": [{"s": "a"}, {"s": "a"}]}, "named a; .* /tx/1"),
    ],
)
def test_entries_that_make_no_sense(at: dict[str, str], held: object, words: str) -> None:
    """Each way of being wrong is told with its pointer."""
    with pytest.raises(Unusable, match=words):
        entries(read(**at), held, {})


def test_a_name_of_the_plan_takes_no_other_slot() -> None:
    """A slot renamed to what another slot is really called would make two of one name."""
    with pytest.raises(Unusable, match="two entries are named b"):
        entries(read(entries=""), {"a": {}, "b": {}}, {"a": "b"})


def test_fields_name_their_pointer() -> None:
    """A field that is missing or wrong is told with the whole pointer."""
    (entry,) = entries(read(entries="/tx"), {"tx": {"1": {"num": "x"}}}, {}).values()
    with pytest.raises(Unusable, match="no value at /tx/1/missing"):
        entry.field(Pick(at="/missing"), values.number)
    with pytest.raises(Unusable, match='at /tx/1/num, "x" is no number'):
        entry.field(Pick(at="/num"), values.number)


def test_a_list_may_have_holes_and_begin_at_one() -> None:
    """A slot that is null is a slot where nothing is; the others keep their own numbers."""
    held = {"l": [{"a": 1}, None, {"a": 3}]}
    found = entries(read(entries="/l", named="out-{key}", first=1), held, {})
    assert [(e.name, e.key, e.pointer) for e in found.values()] == [
        ("out-1", 1, "/l/0"),
        ("out-3", 3, "/l/2"),
    ]


def test_a_value_may_stand_elsewhere() -> None:
    """Where it is read, and what is said if it is not there."""
    found = next(iter(entries(read(), {"a": 1}, {}).values()))
    there = replace(found, elsewhere={"/names/{key}": {"text": "MIC"}})
    at = Pick(at="/text", get="/names/{key}")
    assert there.field(at, values.text) == "MIC"
    with pytest.raises(Unusable, match=r"no value at /other of GET /names/\{key\}"):
        there.field(replace(at, at="/other"), values.text)
