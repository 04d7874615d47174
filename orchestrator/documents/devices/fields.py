"""The kinds of value that a device description is made of, read and refused in our own words."""

import re
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema

from orchestrator.documents.devices.words import (
    FORM,
    read_body,
    read_content_type,
    read_path,
    read_pointer,
)
from orchestrator.documents.reading import fields
from orchestrator.facility import units

_POINTER_PATTERN = r"^(/([^~/]|~[01])*)*$"  # RFC 6901, section 3


def _read_header(value: Any) -> str:
    """A header's name: a token (RFC 9110, section 5.6.2)."""
    text = fields.read_text(value)
    if not re.fullmatch(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+", text):
        fields.refuse(f"{fields.shown(text)} is no header name", "write letters, digits and '-'")
    return text


def _read_named(value: Any) -> str:
    text = fields.read_text(value)
    if text.count("{key}") != 1 or "{" in text.replace("{key}", ""):
        fields.refuse(f"{fields.shown(text)} does not hold {{key}} once", "write input-{key}")
    return text


def _read_within(value: Any) -> str:
    text = fields.read_text(value)
    if text.count("{value}") != 1 or "{" in text.replace("{value}", ""):
        fields.refuse(f"{fields.shown(text)} does not hold {{value}} once", "write CH-{value}")
    return text


def _read_unit(value: Any) -> str:
    text = str(value) if isinstance(value, int) else fields.read_text(value)
    if text not in units.TABLE:
        fields.refuse(f"{fields.shown(text)} is no unit", f"write {', '.join(units.TABLE)}")
    return text


Pointer = Annotated[
    str,
    PlainValidator(read_pointer),
    WithJsonSchema({"type": "string", "pattern": _POINTER_PATTERN}),
]
RequestPath = Annotated[
    str, PlainValidator(read_path), WithJsonSchema({"type": "string", "pattern": "^/"})
]
Body = Annotated[Any, PlainValidator(read_body), WithJsonSchema({})]
Header = Annotated[str, PlainValidator(_read_header), WithJsonSchema({"type": "string"})]
Named = Annotated[
    str,
    PlainValidator(_read_named),
    WithJsonSchema({"type": "string", "pattern": r"^[^{]*\{key\}[^{]*$"}),
]
Within = Annotated[
    str,
    PlainValidator(_read_within),
    WithJsonSchema({"type": "string", "pattern": r"^[^{]*\{value\}[^{]*$"}),
]
ContentType = Annotated[
    str,
    PlainValidator(read_content_type),
    WithJsonSchema(
        {"type": "string", "pattern": rf"^(application/([A-Za-z0-9.-]+\+)?json|{FORM})( *;.*)?$"}
    ),
]
Digits = Annotated[
    int,
    PlainValidator(fields.whole(1, 10)),
    WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 10}),
]
Legs = Annotated[
    int,
    PlainValidator(fields.whole(1, 2)),
    WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 2}),
]


Unit = Annotated[
    str,
    PlainValidator(_read_unit),
    WithJsonSchema({"type": "string", "enum": list(units.TABLE)}),
]
