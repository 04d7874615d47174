from typing import Any
from urllib.parse import parse_qsl

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mocks.makes.patches import merged, patched
from orchestrator.adapters.declared.bodies import (
    FORM,
    JSON_PATCH,
    encoded,
    fill,
    kind_of,
    shaped,
)
from orchestrator.adapters.declared.bodies import (
    tests_first as has_test,
)
from orchestrator.adapters.declared.values import Unwritable
from orchestrator.facility.description import Json, WriteRule

MERGE = "application/merge-patch+json"


def rule(body: Json, content_type: str) -> WriteRule:
    """A rule with that body."""
    return WriteRule(method="PATCH", path="/x", body=body, content_type=content_type)


def test_a_media_type_without_its_parameters() -> None:
    """RFC 9110, 8.3.1: case does not matter, parameters follow a semicolon."""
    assert kind_of("Application/JSON-Patch+json; charset=utf-8") == JSON_PATCH


def test_a_form_is_written_as_a_form() -> None:
    """Spaces, signs and other scripts arrive as they were; figures and truths as JSON's words."""
    body = fill(
        rule({"name": "{label}", "ch": "{number}", "on": "{enabled}", "fix": "a=b&c"}, FORM),
        {"label": "Tür 5 + 1", "number": 421, "enabled": True},
    )
    data = encoded(body, FORM)
    assert data is not None
    assert parse_qsl(data.decode("ascii")) == [
        ("name", "Tür 5 + 1"),
        ("ch", "421"),
        ("on", "true"),
        ("fix", "a=b&c"),
    ]
    assert b"name=T%C3%BCr+5+%2B+1&" in data


@given(st.dictionaries(st.text(min_size=1), st.text(min_size=1), max_size=4))
def test_a_form_arrives_as_it_was_sent(body: dict[str, str]) -> None:
    """Whatever the texts hold, a reader of forms (the standard library's) finds them again."""
    data = encoded(shaped(body, FORM), FORM)
    assert data is not None
    assert dict(parse_qsl(data.decode("ascii"), strict_parsing=bool(body))) == body


@pytest.mark.parametrize("body", [{"a": None}, {"a": [1]}, {"a": {"b": 1}}, ["a"], "a"])
def test_what_is_no_form(body: Json) -> None:
    """A form is flat: nothing is squeezed into it."""
    with pytest.raises(Unwritable):
        shaped(body, FORM)


def test_no_body_is_no_body() -> None:
    """A rule without a body sends none, of whatever type."""
    assert encoded(fill(rule(None, FORM), {}), FORM) is None
    assert encoded(None, "application/json") is None


def test_json_is_written_in_utf_8() -> None:
    """Of a patch too; the media type says what it means."""
    assert encoded({"a": "é"}, MERGE) == '{"a": "é"}'.encode()


def test_what_is_filled_into_a_patchs_path_is_escaped() -> None:
    """A key with a slash or a tilde stays one token (RFC 6901, section 3)."""
    made = fill(
        rule(
            [
                {"op": "test", "path": "/tx/{key}/num", "value": "{found_number}"},
                {"op": "replace", "path": "/tx/{key}/num", "value": "{number}"},
            ],
            JSON_PATCH,
        ),
        {"key": "a/b~c", "number": 421, "found_number": 311},
    )
    assert made == [
        {"op": "test", "path": "/tx/a~1b~0c/num", "value": 311},
        {"op": "replace", "path": "/tx/a~1b~0c/num", "value": 421},
    ]
    held = {"tx": {"a/b~c": {"num": 311}, "a": {"b~c": {"num": 1}}}}
    assert patched(held, made)["tx"]["a/b~c"] == {"num": 421}


def test_a_merge_patch_does_what_it_says() -> None:
    """By a reading of RFC 7396 that knows nothing of this one."""
    made = fill(rule({"num": "{number}", "dest": {"g": "{group}"}}, MERGE), _values())
    held = {"num": 1, "dest": {"g": "x", "port": 5004}, "name": "MIC"}
    assert merged(held, made) == {
        "num": 421,
        "dest": {"g": "239.194.1.165", "port": 5004},
        "name": "MIC",
    }


def _values() -> dict[str, Json]:
    return {"number": 421, "group": "239.194.1.165"}


@pytest.mark.parametrize(
    ("body", "content_type", "tests"),
    [
        ([{"op": "test", "path": "/a", "value": 1}], JSON_PATCH, True),
        ([{"op": "replace", "path": "/a", "value": 1}], JSON_PATCH, False),
        ([{"op": "test", "path": "/a", "value": 1}], "application/json", False),
        ({"op": "test"}, JSON_PATCH, False),
    ],
)
def test_a_precondition_is_seen(body: Any, content_type: str, *, tests: bool) -> None:
    """Only a ``test`` in a JSON Patch is one (RFC 6902, 4.6)."""
    assert has_test(rule(body, content_type)) is tests


def test_an_entry_of_a_patch_that_is_no_object_is_left_as_it_is() -> None:
    """What does not fit is for the check of documents to say, and for the device."""
    assert fill(rule(["{number}"], JSON_PATCH), _values()) == [421]
