"""Values inside a JSON answer, by JSON Pointer (RFC 6901), with bounds on what is believed."""

import json
import math
import re
from functools import lru_cache

from jsonpointer import JsonPointer, JsonPointerException

from orchestrator.facility.description import Json

MAX_DEPTH = 64
"""Levels of lists and objects in an answer; no device needs more, and more is an attack."""

_MOST_SHOWN = 60
_LONE_SURROGATE = re.compile("[\ud800-\udfff]")


class Unusable(ValueError):
    """An answer makes no sense; the text is a sentence without the device's name."""


def document(body: bytes) -> Json:
    """Read a JSON text (RFC 8259).

    Raises:
        Unusable: it is no JSON, is nested deeper than :data:`MAX_DEPTH`, or holds a figure or a
            text that can't be kept.
    """
    try:
        value = _DECODER.decode(body.decode("ascii")) if _plain(body) else _loaded(body)
    except RecursionError:
        raise Unusable("the answer is nested too deep") from None
    except ValueError:
        raise Unusable("the answer is no JSON") from None
    if not _plain(body) or b"\\u" in body or body.count(b"[") + body.count(b"{") > MAX_DEPTH:
        _check(value)  # else there can be neither half a character nor such a depth in it
    return value


def _plain(body: bytes) -> bool:
    """Whether its text is its bytes; with zeros in it, it may be UTF-16."""
    return body.isascii() and b"\0" not in body


def _loaded(body: bytes) -> Json:
    return json.loads(body, parse_constant=_refuse, parse_float=_finite)


def _refuse(word: str) -> float:
    raise ValueError(word)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


_DECODER = json.JSONDecoder(parse_constant=_refuse, parse_float=_finite)


def _check(value: Json) -> None:
    """Go down level by level, without recursion."""
    level = [value]
    for _ in range(MAX_DEPTH + 1):
        level = [child for item in level for child in _children(item)]
        if not level:
            return
    raise Unusable("the answer is nested too deep")


def _children(item: Json) -> list[Json]:
    if isinstance(item, dict):
        return [*item.keys(), *item.values()]
    if isinstance(item, list):
        return item
    if isinstance(item, str) and lone_surrogate(item):
        raise Unusable("the answer holds text that is no Unicode")
    return []


def lone_surrogate(text: str) -> bool:
    """Tell whether ``text`` holds half a character, which no encoding can write."""
    return _LONE_SURROGATE.search(text) is not None


@lru_cache(maxsize=1024)
def _parsed(pointer: str) -> JsonPointer:
    """A pointer of a device description; those are read thousands of times."""
    return JsonPointer(pointer)


def pick(value: Json, pointer: str) -> Json:
    """Give the value at ``pointer`` inside ``value``.

    Raises:
        Unusable: there is nothing at the pointer, or it is no pointer.
    """
    try:
        parsed = _parsed(pointer)
        for step in parsed.parts:
            if type(value) is dict and step in value:
                value = value[step]  # so are most; the library asks much of each
                continue
            if not isinstance(value, dict | list) or (isinstance(value, list) and step == "-"):
                raise Unusable(f"there is no value at {pointer}")
            value = parsed.walk(value, step)
    except JsonPointerException:
        raise Unusable(f"there is no value at {pointer}") from None
    return value


def token(key: object) -> str:
    """``key`` as one escaped token of a pointer (RFC 6901, section 3), with its slash."""
    return "/" + escaped(str(key))


def escaped(text: str) -> str:
    """``text`` as it may stand inside a token of a pointer (RFC 6901, section 3)."""
    return text.replace("~", "~0").replace("/", "~1")


def same(one: Json, other: Json) -> bool:
    """Tell whether two JSON values are equal; unlike in Python, ``true`` is not ``1``."""
    return isinstance(one, bool) == isinstance(other, bool) and bool(one == other)


def shown(value: Json) -> str:
    """``value`` as it may stand in a sentence: short, and never a whole structure."""
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return "a list"
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 3] + "..."
