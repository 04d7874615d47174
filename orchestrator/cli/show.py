"""Printing: text or JSON to standard output, errors in words to standard error."""

import json
import sys
from collections.abc import Iterator, Mapping
from typing import Any, NoReturn

import typer

from orchestrator.errors import CutsheetError, words

# Python writes JSON quickly only where it does not indent.
_ENTRY = json.JSONEncoder(ensure_ascii=False).encode


def show(text: str) -> None:
    """Print text for people."""
    typer.echo(text.rstrip("\n"))


def show_json(document: Mapping[str, Any]) -> None:
    """Print one JSON document; what its lists hold stands one entry a line."""
    # Piece by piece: the text of a whole broadcaster's dry-run would take a quarter of a gibibyte.
    sys.stdout.writelines(_pieces(document))


def _pieces(document: Mapping[str, Any]) -> Iterator[str]:
    opening = "{\n  "
    for name, value in document.items():
        yield f"{opening}{_ENTRY(name)}: "
        opening = ",\n  "
        if isinstance(value, list) and value and isinstance(value[0], (dict, list)):
            yield "[\n    "
            yield _ENTRY(value[0])
            for entry in value[1:]:
                yield ",\n    "
                yield _ENTRY(entry)
            yield "\n  ]"
        else:
            yield json.dumps(value, ensure_ascii=False, indent=2).replace("\n", "\n  ")
    yield "\n}\n" if document else "{}\n"


def show_error(error: CutsheetError, *, as_json: bool = False) -> None:
    """Say what is wrong, where, and the fix."""
    said = words(error)
    if as_json:
        document = {
            "schema": "cutsheet/error/1",
            "what": said.what,
            "fix": said.fix,
            "more": list(said.more),
        }
        show_json(document)
    for line in said.more:
        typer.echo(line, err=True)
        typer.echo("", err=True)
    typer.echo(said.what, err=True)
    if said.fix:
        typer.echo(f"    fix: {said.fix}", err=True)


def end(status: int) -> NoReturn:
    """Leave with an exit status."""
    sys.stdout.flush()
    raise typer.Exit(status)
