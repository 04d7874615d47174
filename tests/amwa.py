"""The JSON schemas that the Advanced Media Workflow Association publishes with its standards.

They are read where they lie and never copied: in the folder that CUTSHEET_STANDARDS names, else in
``../shared/standards`` beside the repository. Tests that need them are skipped where they are not,
and fail in CI.
"""

import json
import os
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft4Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT4

_BESIDE = Path(__file__).parents[2] / "shared" / "standards"
STANDARDS = Path(os.environ.get("CUTSHEET_STANDARDS", _BESIDE))
NEEDS = "the schemas of AMWA IS-04, IS-05 and IS-14: set CUTSHEET_STANDARDS to their folder"

needs_schemas = pytest.mark.skipif(
    os.environ.get("CI") != "true"
    and not all((STANDARDS / each / "schemas").is_dir() for each in ("is-04", "is-05", "is-14")),
    reason=NEEDS,
)


def conforms(value: Any, standard: str, name: str) -> None:
    """Hold ``value`` to the schema ``name`` of ``standard`` (``is-04``, ``is-05``, ``is-14``)."""
    found = [
        f"{'/'.join(map(str, error.absolute_path))}: {error.message}"
        for error in _validator(standard, name).iter_errors(value)
    ]
    assert not found, f"{standard} {name}: {found}"


def breaks(value: Any, standard: str, name: str) -> bool:
    """Whether ``value`` does not conform."""
    return not _validator(standard, name).is_valid(value)


@cache
def _validator(standard: str, name: str) -> Draft4Validator:
    folder = STANDARDS / standard / "schemas"

    def retrieve(uri: str) -> Resource[Any]:
        return DRAFT4.create_resource(json.loads((folder / uri).read_text(encoding="utf-8")))

    registry: Registry[Any] = Registry(retrieve=retrieve)  # type: ignore[call-arg]
    return Draft4Validator(
        {"$ref": f"{name}.json"},
        registry=registry,
        format_checker=Draft4Validator.FORMAT_CHECKER,
    )
