"""JSON Pointers, request paths and bodies of a device description."""

from urllib.parse import quote

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonpointer import JsonPointer, JsonPointerException
from pydantic_core import PydanticCustomError

from orchestrator.documents.devices.words import (
    FORM,
    JSON_PATCH,
    MERGE_PATCH,
    body_faults,
    placeholders,
    read_body,
    read_content_type,
    read_path,
    read_pointer,
)

RFC_6901_SECTION_5 = [
    "",
    "/foo",
    "/foo/0",
    "/",
    "/a~1b",
    "/c%d",
    "/e^f",
    "/g|h",
    "/i\\j",
    "/ ",
    "/m~0n",
]


@pytest.mark.parametrize("pointer", RFC_6901_SECTION_5)
def test_the_standards_own_pointers_are_read(pointer: str) -> None:
    """RFC 6901, section 5, but for the one that holds a quote mark only to show quoting."""
    assert read_pointer(pointer) == pointer


@given(text=st.text("/~01ab", max_size=8))
def test_pointers_are_those_of_a_library(text: str) -> None:
    """Refused just where ``jsonpointer`` refuses."""
    try:
        JsonPointer(text)
        good = True
    except JsonPointerException:
        good = False
    if good:
        assert read_pointer(text) == text
    else:
        with pytest.raises(PydanticCustomError):
            read_pointer(text)


@pytest.mark.parametrize("path", ["/", "/api/tx/{key}", "/a;b=1/c?d=e", "/x/%20y", "/~user"])
def test_paths(path: str) -> None:
    """On the device itself (RFC 3986, section 3.3)."""
    assert read_path(path) == path


@pytest.mark.parametrize(
    "path",
    ["", "api", "//other/api", "http://other/", "/a/../b", "/a/%2e%2e/b", "/a b", "/a#b", "/ä", 5],
)
def test_paths_that_lead_elsewhere(path: object) -> None:
    """No other host, no way up, nothing that has to be guessed."""
    with pytest.raises(PydanticCustomError):
        read_path(path)


RESETS = ["factory-reset", "Factory_Reset", "factoryReset", "ietf-factory-default:factory-reset"]


@pytest.mark.parametrize("word", RESETS)
def test_a_factory_reset_can_not_be_listed(word: str) -> None:
    """RFC 8808's operation, however it is spelt: in a path, quoted twice, in a body."""
    for text in (f"/api/{word}", f"/api/{quote(word)}", f"/api/{word.replace('-', '%252D')}"):
        with pytest.raises(PydanticCustomError) as caught:
            read_path(text)
        assert "factory reset" in str(caught.value)
    bodies: tuple[object, ...] = ({"action": word}, {word: {}}, [{"a": [word]}])
    for body in bodies:
        with pytest.raises(PydanticCustomError):
            read_body(body)


def test_bodies_are_finite_json() -> None:
    """RFC 8259, section 6: no infinity, no not-a-number."""
    body = {"a": [1, 2.5, None, True, "x"]}
    assert read_body(body) == body
    for value in (float("inf"), float("nan")):
        with pytest.raises(PydanticCustomError):
            read_body({"a": [value]})


def test_placeholders_are_found_with_their_place() -> None:
    """In every text, several in one; keys are the device's own."""
    body = {"a": "{number}", "b": [{"c": "{address}/{prefix}"}], "{d}": 1}
    assert list(placeholders(body)) == [
        (("a",), "number"),
        (("b", 0, "c"), "address"),
        (("b", 0, "c"), "prefix"),
    ]


@pytest.mark.parametrize(
    "kind",
    [
        "application/json",
        "application/merge-patch+json",
        "application/json-patch+json; charset=utf-8",
        "application/yang-data+json",
        "application/x-www-form-urlencoded",
    ],
)
def test_media_types_that_can_be_written(kind: str) -> None:
    """JSON, whatever it is for (RFC 6839, 3.1), and forms."""
    assert read_content_type(kind) == kind


@pytest.mark.parametrize("kind", ["text/xml", "application/xml", "json", "multipart/form-data", 5])
def test_media_types_that_can_not(kind: object) -> None:
    """Refused with those that can."""
    with pytest.raises(PydanticCustomError):
        read_content_type(kind)


@pytest.mark.parametrize(
    ("body", "kind", "place"),
    [
        ({"a": "x", "b": 1}, FORM, None),
        (None, FORM, None),
        ({"a": {"b": 1}}, FORM, ("a",)),
        (["a"], FORM, ()),
        ({"a": [{}]}, MERGE_PATCH, None),
        ([1], MERGE_PATCH, ()),
        ([{"op": "test", "path": "", "value": None}], JSON_PATCH, None),
        ([{"op": "move", "path": "/a", "from": "/b"}], JSON_PATCH, None),
        ([{"op": "move", "path": "/a"}], JSON_PATCH, (0,)),
        ([{"op": "copy", "path": "/a", "from": "b"}], JSON_PATCH, (0, "from")),
        ([], JSON_PATCH, ()),
        ({"op": "test"}, JSON_PATCH, ()),
        (["x"], JSON_PATCH, (0,)),
        ({"op": "test"}, "application/json", None),
    ],
)
def test_bodies_fit_their_types(body: object, kind: str, place: tuple[object, ...] | None) -> None:
    """RFC 7396, section 2; RFC 6902, sections 3 and 4; the place of the fault inside the body."""
    found = list(body_faults(body, kind))
    assert [inside for inside, _, _ in found] == ([] if place is None else [place])
    assert all(what and fix for _, what, fix in found)
