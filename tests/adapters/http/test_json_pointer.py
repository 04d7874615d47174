import json
from typing import Any

import pytest

from orchestrator.adapters.http.json_pointer import (
    MAX_DEPTH,
    Unusable,
    document,
    escaped,
    pick,
    same,
    shown,
    token,
)

# The document and the twelve pointers of RFC 6901, section 5.
RFC_DOCUMENT: dict[str, Any] = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}
RFC_POINTERS = [
    ("", RFC_DOCUMENT),
    ("/foo", ["bar", "baz"]),
    ("/foo/0", "bar"),
    ("/", 0),
    ("/a~1b", 1),
    ("/c%d", 2),
    ("/e^f", 3),
    ("/g|h", 4),
    ("/i\\j", 5),
    ('/k"l', 6),
    ("/ ", 7),
    ("/m~0n", 8),
]


@pytest.mark.parametrize(("pointer", "value"), RFC_POINTERS)
def test_pointers_of_the_standard(pointer: str, value: object) -> None:
    """Each example of RFC 6901, section 5, gives the value printed there."""
    assert pick(RFC_DOCUMENT, pointer) == value


@pytest.mark.parametrize("key", [key for key in RFC_DOCUMENT if key != "foo"])
def test_a_key_is_escaped_so_that_its_pointer_finds_it(key: str) -> None:
    """Escaping (RFC 6901, section 3) and resolving are each other's inverse."""
    assert pick(RFC_DOCUMENT, token(key)) == RFC_DOCUMENT[key]


@pytest.mark.parametrize(
    "pointer",
    ["/missing", "/foo/2", "/foo/-", "/foo/01", "/foo/x", "/foo/0/0", "foo", "/m~2n", "//x"],
)
def test_nothing_there_is_named(pointer: str) -> None:
    """No member, past the end, the end's own sign, leading zeros, into a text, or no pointer."""
    with pytest.raises(Unusable, match="there is no value at "):
        pick(RFC_DOCUMENT, pointer)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"<html>",
        b'{"a": NaN}',
        b'{"a": Infinity}',
        b'{"a": 1e999}',
        b"\xff\xfe\xfd",
        b'"\xe9"',
        b"[" + b"1" * 5000 + b"]",
    ],
)
def test_what_is_no_json_is_refused(body: bytes) -> None:
    """Broken texts, the words that RFC 8259 does not know, and figures beyond all bounds."""
    with pytest.raises(Unusable, match="no JSON"):
        document(body)


@pytest.mark.parametrize("depth", [MAX_DEPTH + 1, 5_000, 1_000_000])
@pytest.mark.parametrize("pair", [(b"[", b"]"), (b'{"a":', b"}")])
def test_deep_nesting_never_recurses(depth: int, pair: tuple[bytes, bytes]) -> None:
    """However deep an answer is nested, it is refused by our own error."""
    with pytest.raises(Unusable, match="nested too deep"):
        document(pair[0] * depth + b"1" + pair[1] * depth)


def test_nesting_within_the_bound_is_read() -> None:
    """The bound itself is still believed."""
    text = b"[" * MAX_DEPTH + b"1" + b"]" * MAX_DEPTH
    assert document(text) == json.loads(text)


@pytest.mark.parametrize("body", [rb'{"label": "\ud800"}', rb'{"\udfff": 1}', rb'[["\ud83d"]]'])
def test_half_characters_are_refused(body: bytes) -> None:
    """A lone surrogate can't be stored or printed; it is refused before anyone tries."""
    with pytest.raises(Unusable, match="no Unicode"):
        document(body)


def test_whole_characters_are_kept() -> None:
    """A pair of surrogates is one character (RFC 8259, section 7: the G clef)."""
    assert document(rb'"\uD834\uDD1E"') == "\U0001d11e"


@pytest.mark.parametrize(
    ("one", "other", "equal"),
    [(1, 1, True), (1, True, False), (0, False, False), (None, None, True), ("", None, False)],
)
def test_true_is_not_one(one: object, other: object, equal: object) -> None:
    """Equality is JSON's: a device's ``false`` is not its number 0."""
    assert same(one, other) is equal


def test_only_single_values_are_shown() -> None:
    """What stands in a sentence is short, however large the answer is."""
    assert shown({"a": 1}) == "an object"
    assert shown([1]) == "a list"
    assert shown("x") == '"x"'
    assert len(shown("x" * 10_000)) == 60


def test_a_text_inside_a_token_is_escaped() -> None:
    """RFC 6901, section 3: the tilde first, then the slash."""
    assert escaped("a/b~1") == "a~1b~01"
    held = {"a/b~1": 5}
    assert pick(held, "/" + escaped("a/b~1")) == 5
