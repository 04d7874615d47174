"""JSON Pointers, request paths and bodies of a device description, checked in our own words."""

import math
import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import unquote

from orchestrator.documents.reading.fields import read_text, refuse, shown
from orchestrator.documents.reading.tree import Path

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_POINTER = re.compile(r"(?:/(?:[^~/]|~[01])*)*")  # RFC 6901, section 3
_PATH = re.compile(r"/[A-Za-z0-9._~!$&'()*+,;=:@/%?{}\[\]|-]*")  # RFC 3986, section 3.3
FORM = "application/x-www-form-urlencoded"
MERGE_PATCH = "application/merge-patch+json"  # RFC 7396
JSON_PATCH = "application/json-patch+json"  # RFC 6902
_NEEDS = {
    "test": frozenset({"path", "value"}),
    "replace": frozenset({"path", "value"}),
    "add": frozenset({"path", "value"}),
    "remove": frozenset({"path"}),
    "move": frozenset({"path", "from"}),
    "copy": frozenset({"path", "from"}),
}
_NOT_A_LETTER = re.compile("[^a-z]")


def read_pointer(value: Any) -> str:
    """A JSON Pointer: empty for the whole, or parts that each begin with ``/``."""
    if value == "":
        return ""
    text = read_text(value)
    if not _POINTER.fullmatch(text):
        fix = "begin with '/'; write '~0' for '~' and '~1' for '/' inside a name"
        refuse(f"{shown(text)} is no JSON Pointer", fix)
    return text


def read_path(value: Any) -> str:
    """A request's path on the device itself, never its factory reset."""
    text = read_text(value)
    if not text.startswith("/") or text.startswith("//"):
        refuse(f"{shown(text)} is no path", "begin with one '/'; the address comes from the plan")
    if not _PATH.fullmatch(text) or ".." in unquote(text).split("/"):
        refuse(f"{shown(text)} is no plain path", "percent-encode odd characters; leave out '..'")
    _refuse_reset(text)
    return text


def read_body(value: Any) -> Any:
    """Any JSON that is finite and asks for no factory reset."""
    for item in _inside(value):
        if isinstance(item, float) and not math.isfinite(item):
            refuse(f"{item} is no JSON number", "write a finite number (RFC 8259, section 6)")
        if isinstance(item, str):
            _refuse_reset(item)
    return value


def read_content_type(value: Any) -> str:
    """A body's media type, of the kinds that can be written: JSON or a form."""
    text = read_text(value)
    kind = text.partition(";")[0].strip().lower()
    if kind != FORM and not re.fullmatch(r"application/([a-z0-9.-]+\+)?json", kind):
        fix = f"write application/json, {MERGE_PATCH}, {JSON_PATCH}, or {FORM}"
        refuse(f"nobody here can write a body of the type {shown(text)}", fix)
    return text


def body_faults(body: Any, content_type: str) -> Iterator[tuple[Path, str, str]]:
    """What in a body does not fit its media type: where in it, what, and the fix."""
    kind = content_type.partition(";")[0].strip().lower()
    if kind == FORM:
        yield from _form_faults(body)
    elif kind == MERGE_PATCH and not isinstance(body, dict):
        yield (), "a merge patch is an object", "write the members that change"
    elif kind == JSON_PATCH:
        yield from _patch_faults(body)


def _form_faults(body: Any) -> Iterator[tuple[Path, str, str]]:
    if body is not None and not isinstance(body, dict):
        yield (), "a form is made of names and values", "write {name: value}"
        return
    for name, value in (body or {}).items():
        if value is None or isinstance(value, dict | list):
            yield (name,), f"'{name}' is no single value, and a form is flat", "write one value"


def _patch_faults(body: Any) -> Iterator[tuple[Path, str, str]]:
    """RFC 6902, sections 3 and 4."""
    if not isinstance(body, list) or not body:
        yield (), "a JSON Patch is a list of operations", "write [{op: .., path: .., value: ..}]"
        return
    for index, each in enumerate(body):
        needs = _NEEDS.get(each.get("op", "")) if isinstance(each, dict) else None
        if needs is None:
            what = f"entry {index + 1} is no operation of a JSON Patch"
            yield (index,), what, f"write {{op: .., path: ..}} with one of: {', '.join(_NEEDS)}"
            continue
        for name in needs - each.keys():
            yield (index,), f"the operation '{each['op']}' has no '{name}'", f"add '{name}'"
        for name in sorted({"path", "from"} & each.keys()):
            if not (isinstance(each[name], str) and _POINTER.fullmatch(each[name])):
                what = f"{shown(each[name])} is no JSON Pointer"
                yield (index, name), what, "begin with '/'"


def placeholders(value: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:
    """The names between braces in every text inside ``value``, each with its path in it."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from placeholders(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from placeholders(item, (*path, index))
    elif isinstance(value, str):
        yield from ((path, name) for name in PLACEHOLDER.findall(value))


def _refuse_reset(text: str) -> None:
    """``factory-reset`` is the operation of RFC 8808, section 2; no step here may ever ask it."""
    if "factoryreset" in _NOT_A_LETTER.sub("", unquote(unquote(text)).lower()):
        refuse("a factory reset may not be listed", "remove it; do that by hand at the device")


def _inside(value: Any) -> Iterator[Any]:
    """Every value inside ``value``, keys included."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield key
            yield from _inside(item)
    elif isinstance(value, list):
        for item in value:
            yield from _inside(item)
    else:
        yield value
