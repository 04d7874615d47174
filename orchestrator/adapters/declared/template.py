"""Placeholders in the paths and bodies of writes: ``{key}``, ``{number}``, ``{label}`` ..."""

import json
import re
from collections.abc import Mapping
from urllib.parse import quote

from orchestrator.adapters.declared.values import Unwritable
from orchestrator.facility.description import Json

_PLACE = re.compile(r"\{([A-Za-z][A-Za-z0-9_-]*)\}")
_NEVER = "factory-reset"
"""The operation of RFC 8808. No path under it is ever asked for."""


def names_in(template: Json) -> frozenset[str]:
    """The names of the placeholders in a path or a body."""
    if isinstance(template, str):
        return frozenset(_PLACE.findall(template))
    if isinstance(template, dict):
        template = [*template.keys(), *template.values()]
    if isinstance(template, list):
        return frozenset().union(*map(names_in, template))
    return frozenset()


def fill_path(path: str, values: Mapping[str, Json]) -> str:
    """Fill a path; each value becomes one percent-encoded segment (RFC 3986, 2.1 and 3.3).

    Raises:
        Unwritable: a value is missing or can't be a path segment, or the path is not one.
    """
    filled = _PLACE.sub(lambda place: _segment(place[1], values), path)
    if not filled.startswith("/") or _NEVER in filled.lower():
        raise Unwritable(f"{path} is no path that may be asked for")
    return filled


def _segment(name: str, values: Mapping[str, Json]) -> str:
    written = scalar_text(name, _value(name, values))
    if written in ("", ".", ".."):
        raise Unwritable(f"'{written}' can't be part of a path")
    return quote(written, safe="")


def fill_body(body: Json, values: Mapping[str, Json]) -> Json:
    """Fill a body: a text that is just one placeholder becomes the value itself.

    Raises:
        Unwritable: a value is missing, or can't stand inside a text.
    """
    if isinstance(body, dict):
        return {_inside(key, values): fill_body(value, values) for key, value in body.items()}
    if isinstance(body, list):
        return [fill_body(item, values) for item in body]
    if not isinstance(body, str):
        return body
    whole = _PLACE.fullmatch(body)
    return _value(whole[1], values) if whole else _inside(body, values)


def _inside(text: str, values: Mapping[str, Json]) -> str:
    return _PLACE.sub(lambda place: scalar_text(place[1], _value(place[1], values)), text)


def _value(name: str, values: Mapping[str, Json]) -> Json:
    if name not in values:
        raise Unwritable(f"the device description asks for '{name}', which is not known here")
    return values[name]


def scalar_text(name: str, value: Json) -> str:
    """A single value as a text: figures and true or false as JSON writes them.

    Raises:
        Unwritable: it is no single value.
    """
    if isinstance(value, str):
        return value
    if isinstance(value, bool | int | float):
        return json.dumps(value)
    raise Unwritable(f"'{name}' can't stand inside a text")
