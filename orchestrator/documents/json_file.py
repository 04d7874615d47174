"""Documents that the tool itself writes: a frozen value as JSON, marked with its schema."""

import json
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from orchestrator.documents.files import replace_text
from orchestrator.documents.reading.fields import shown
from orchestrator.errors import CallError, DocumentError, Problem

T = TypeVar("T")


def write(path: Path, value: T, adapter: TypeAdapter[T], schema: str) -> None:
    """Write ``value`` as JSON with ``schema`` as its first member, whole or not at all.

    Raises:
        CallError: the file can't be written.
    """
    document = {"schema": schema, **adapter.dump_python(value, mode="json", warnings="error")}
    text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    # Half a surrogate pair in a device's label is no Unicode text; it is kept as '?'.
    replace_text(path, text.encode("utf-8", "replace").decode())


def read(path: Path, adapter: TypeAdapter[T], schema: str, fix: str) -> T:
    """Read a value that :func:`write` wrote; ``fix`` says what to do about one that is wrong.

    Raises:
        DocumentError: it is no JSON, of another schema, or not of its shape.
        CallError: there is no such file.
    """
    text = _text(path, fix)
    if _as_written(text, schema):
        try:
            return adapter.validate_json(text, strict=True)
        except ValidationError:
            pass  # what is wrong is told below
    try:
        document = json.loads(text, parse_constant=_refuse)
    except json.JSONDecodeError as error:
        line = text.splitlines()[error.lineno - 1] if text.strip() else ""
        what = f"this is no JSON: {error.msg}"
        problem = Problem(str(path), error.lineno, error.colno, what, fix, line[:200])
        raise DocumentError([problem]) from None
    except (ValueError, RecursionError):
        raise DocumentError([Problem(str(path), 0, 0, "this is no JSON", fix)]) from None
    if not isinstance(document, dict) or document.pop("schema", None) != schema:
        raise DocumentError([Problem(str(path), 0, 0, f"this is no {schema} document", fix)])
    try:
        return adapter.validate_json(json.dumps(document), strict=True)
    except ValidationError as error:
        problems = [_problem(path, item, fix) for item in error.errors(include_url=False)]
        raise DocumentError(problems) from None


def _as_written(text: str, schema: str) -> bool:
    """Whether it begins as :func:`write` begins, and holds nothing that JSON has no word for.

    Then it need not be taken apart twice: a whole broadcaster's survey has 50 MB.
    """
    begins = text.startswith(f'{{\n  "schema": {json.dumps(schema)},\n')
    once = text.count('"schema":') == 1
    return begins and once and "NaN" not in text and "Infinity" not in text


def _text(path: Path, fix: str) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise CallError(f"there is no file {path}", "name a file that exists") from None
    except OSError as error:
        raise CallError(f"{path} can't be read: {error.strerror}", "check its rights") from None
    except UnicodeDecodeError:
        raise DocumentError([Problem(str(path), 0, 0, "this is not UTF-8 text", fix)]) from None


def _refuse(word: str) -> Any:
    raise ValueError(word)


def _problem(path: Path, item: Any, fix: str) -> Problem:
    """Where in the document a value is missing or wrong, as a path of keys."""
    where = "/".join(str(part) for part in item["loc"])
    if item["type"] == "missing":
        return Problem(str(path), 0, 0, f"{where} is missing", fix)
    return Problem(str(path), 0, 0, f"{where}: {shown(item['input'])} can't stand here", fix)
