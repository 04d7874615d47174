"""How a body is put together and written: JSON, merge patch, JSON Patch, or a form.

A merge patch (RFC 7396) and a JSON Patch (RFC 6902) are JSON documents of another media type; what
they mean is the device's business. Two things differ. In a JSON Patch the members ``path`` and
``from`` are JSON Pointers, so what is filled into them is escaped (RFC 6901, section 3). A form is
flat: a name and a text each.
"""

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from orchestrator.adapters.declared.template import fill_body, scalar_text
from orchestrator.adapters.declared.values import Unwritable
from orchestrator.adapters.http.json_pointer import escaped
from orchestrator.facility.description import Json, WriteRule

FORM = "application/x-www-form-urlencoded"
JSON_PATCH = "application/json-patch+json"
_POINTERS = ("path", "from")


def kind_of(content_type: str) -> str:
    """A media type without its parameters, in small letters (RFC 9110, 8.3.1)."""
    return content_type.partition(";")[0].strip().lower()


def fill(rule: WriteRule, values: Mapping[str, Json]) -> Json:
    """The body of ``rule`` with ``values`` filled in; of a form, a mapping of texts.

    Raises:
        Unwritable: a value is missing, or can't stand where it should.
    """
    kind = kind_of(rule.content_type)
    if kind == JSON_PATCH and isinstance(rule.body, list):
        return [_operation(each, values) for each in rule.body]
    return shaped(fill_body(rule.body, values), rule.content_type)


def shaped(body: Json, content_type: str) -> Json:
    """``body`` as that type of body can hold it: a form holds texts, each of one name.

    Raises:
        Unwritable: it can't be a form.
    """
    if body is None or kind_of(content_type) != FORM:
        return body
    if not isinstance(body, dict):
        raise Unwritable("a form is made of names and values")
    return {name: scalar_text(name, value) for name, value in body.items()}


def tests_first(rule: WriteRule) -> bool:
    """Whether the body is a JSON Patch with a ``test`` in it, as a precondition."""
    if kind_of(rule.content_type) != JSON_PATCH or not isinstance(rule.body, list):
        return False
    return any(isinstance(each, dict) and each.get("op") == "test" for each in rule.body)


def encoded(body: Json, content_type: str) -> bytes | None:
    """The bytes of a body that was filled; None where there is none."""
    if body is None:
        return None
    if kind_of(content_type) == FORM and isinstance(body, dict):
        return urlencode(body).encode("ascii")
    return json.dumps(body, ensure_ascii=False, allow_nan=False).encode()


def _operation(each: Any, values: Mapping[str, Json]) -> Json:
    if not isinstance(each, dict):
        return fill_body(each, values)
    inside = {
        name: escaped(value) if isinstance(value, str) else value for name, value in values.items()
    }
    return {
        name: fill_body(value, inside if name in _POINTERS else values)
        for name, value in each.items()
    }
