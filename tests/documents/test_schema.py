"""The JSON Schemas: valid by the standard's own schema, and true of what the tool reads."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.schema import DIALECT, What, json_schema

WHATS: tuple[What, ...] = ("plan", "playbook", "device")
EXAMPLE = Path(__file__).parents[2] / "playbooks"


def errors(what: What, document: Any) -> list[str]:
    """What the schema has against ``document``."""
    return [
        error.message for error in Draft202012Validator(json_schema(what)).iter_errors(document)
    ]


def plain(text: str) -> dict[str, Any]:
    """A YAML document's values as the tool reads them."""
    return yaml_reader.read(text.encode(), "x.yaml")[0].plain()


@pytest.mark.parametrize("what", WHATS)
def test_it_is_a_schema_by_json_schema_2020_12(what: What) -> None:
    """The dialect's own meta-schema (JSON Schema 2020-12, section 8) accepts it."""
    schema = json_schema(what)
    assert schema["$schema"] == DIALECT
    assert "$id" not in schema
    Draft202012Validator.check_schema(schema)


def properties(schema: Any) -> Iterator[tuple[str, Any]]:
    """Every property in a schema."""
    if isinstance(schema, dict):
        for name, item in schema.get("properties", {}).items():
            yield name, item
        for item in schema.values():
            yield from properties(item)
    elif isinstance(schema, list):
        for item in schema:
            yield from properties(item)


@pytest.mark.parametrize("what", WHATS)
def test_every_property_is_described(what: What) -> None:
    """An editor can show what each key means; no key may be null."""
    found = list(properties(json_schema(what)))
    assert len(found) > 10
    for name, item in found:
        assert item.get("description", "").endswith("."), name
    assert "'null'" not in str(json_schema(what))


def test_the_facility_is_valid_under_it(texts: dict[str, str]) -> None:
    """What the tool reads, key ranges included, the schemas accept."""
    whats: dict[str, What] = {"plan": "plan", "playbooks": "playbook", "devices": "device"}
    for name, text in texts.items():
        what = whats[name.partition("/")[0].removesuffix(".yaml")]
        assert errors(what, plain(text)) == []


def test_the_example_is_valid_under_it() -> None:
    """The files of the example facility are valid under the schemas that editors check by."""
    kinds: tuple[tuple[What, str], ...] = (
        ("plan", "plan.yaml"),
        ("playbook", "playbooks/*.yaml"),
        ("device", "devices/*.yaml"),
    )
    for what, pattern in kinds:
        files = sorted(EXAMPLE.glob(pattern))
        assert files, pattern
        for file in files:
            assert errors(what, plain(file.read_text(encoding="utf-8"))) == [], file.name


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("room: rack", "rom: rack"),
        ("address: 127.44.3.71", "address: 71"),
        ("number: 411", "number: four"),
        ("bench: true", "bench: on"),
        ("mix-minus-{1..4}: {number: 312-315}", "mix minus: {number: 312}"),
        ("blocks: [31, 32]", "blocks: []"),
    ],
)
def test_what_the_tool_refuses_by_shape_an_editor_marks(
    texts: dict[str, str], old: str, new: str
) -> None:
    """Unknown keys, wrong kinds and names of a wrong form are errors under the schema."""
    assert errors("plan", plain(texts["plan.yaml"].replace(old, new, 1)))


def test_an_awkward_makes_description_is_valid_under_it() -> None:
    """All that a description can say, the schema knows; what the tool refuses by shape, too."""
    text = (EXAMPLE.parent / "tests" / "devices" / "marram-frame.yaml").read_text(encoding="utf-8")
    assert errors("device", plain(text)) == []
    for old, new in (
        ("sign_in: session", "sign_in: cookie"),
        ("  path: /session\n", ""),
        ("application/merge-patch+json", "text/xml"),
        ("CH-{value}", "CH-"),
        ("first: 1", "first: one"),
        ("whole: true", "whole: 1"),
        ("if_match: true", "if-match: true"),
        ("get: /route", "get: route"),
    ):
        assert old in text
        assert errors("device", plain(text.replace(old, new, 1))), old
