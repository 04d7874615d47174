"""JSON Schemas of the documents that people write, for editors (JSON Schema 2020-12)."""

from collections.abc import Mapping
from typing import Any, Literal

from orchestrator.documents.devices.model import DescriptionModel
from orchestrator.documents.plans.plan_model import PlanModel
from orchestrator.documents.plans.playbook_model import PlaybookModel
from orchestrator.documents.reading.shape import Shape

DIALECT = "https://json-schema.org/draft/2020-12/schema"
What = Literal["plan", "playbook", "device"]
WHATS: tuple[What, ...] = ("plan", "playbook", "device")

_MODELS: Mapping[str, tuple[type[Shape], str]] = {
    "plan": (PlanModel, "Plan"),
    "playbook": (PlaybookModel, "Playbook"),
    "device": (DescriptionModel, "Device description"),
}


def json_schema(what: What) -> dict[str, Any]:
    """The schema of a plan, a playbook or a device description.

    It says what a document may look like; what documents say of one another, and the ends of
    ranges, only ``check`` can judge.
    """
    model, title = _MODELS[what]
    schema: dict[str, Any] = _tidy(model.model_json_schema(mode="validation"))
    return {"$schema": DIALECT, **schema, "title": title}


def _tidy(value: Any) -> Any:
    """The schema without null (a key without a value is refused) and without made-up titles."""
    if isinstance(value, list):
        return [_tidy(item) for item in value]
    if not isinstance(value, dict):
        return value
    tidy = {
        key: {name: _tidy(item) for name, item in inner.items()}
        if key in ("properties", "$defs")
        else _tidy(inner)
        for key, inner in value.items()
        if not (key == "title" and isinstance(inner, str)) and not (key == "default" and not inner)
    }
    if "patternProperties" in tidy:
        tidy["additionalProperties"] = False  # a name of another form is refused too
    return _without_null(tidy)


def _without_null(schema: dict[str, Any]) -> dict[str, Any]:
    choices = schema.get("anyOf")
    if not isinstance(choices, list) or {"type": "null"} not in choices:
        return schema
    left = [choice for choice in choices if choice != {"type": "null"}]
    rest = {key: item for key, item in schema.items() if key != "anyOf"}
    return {**left[0], **rest} if len(left) == 1 else {**rest, "anyOf": left}
