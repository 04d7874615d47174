"""The kinds of value that a device description is made of."""

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from orchestrator.documents.devices import fields as kinds


@pytest.mark.parametrize(
    ("kind", "good", "bad"),
    [
        (kinds.Pointer, ["", "/a/0", "/a~1b"], ["a", "/a~2"]),
        (kinds.RequestPath, ["/", "/out/{key}"], ["out", "//out", "/a/../b", "/factory-reset"]),
        (kinds.Body, [None, {"a": [1]}], [float("inf"), {"rpc": "factory-reset"}]),
        (kinds.Header, ["X-Key"], ["a b", ""]),
        (kinds.Named, ["out-{key}"], ["out", "{key}{key}"]),
        (kinds.Within, ["CH-{value}"], ["CH", "{value}{key}"]),
        (kinds.ContentType, ["application/json", "application/merge-patch+json"], ["text/xml"]),
        (kinds.Digits, [1, 10], [0, 11]),
        (kinds.Legs, [1, 2], [0, 3]),
        (kinds.Unit, ["kHz", "Hz"], ["furlong"]),
    ],
)
def test_what_is_taken_and_what_is_not(kind: Any, good: list[object], bad: list[object]) -> None:
    """Each as its name says."""
    adapter = TypeAdapter(kind)
    for value in good:
        assert adapter.validate_python(value) == value
    for value in bad:
        with pytest.raises(ValidationError):
            adapter.validate_python(value)
