"""Printing: text or JSON to standard output, errors in words to standard error."""

import json
import sys
from collections.abc import Mapping
from typing import Any, NoReturn

import typer

from orchestrator.errors import CutsheetError, words


def show(text: str) -> None:
    """Print text for people."""
    typer.echo(text.rstrip("\n"))


def show_json(document: Mapping[str, Any]) -> None:
    """Print one JSON document."""
    # Piece by piece: the text of a whole broadcaster's dry-run would take half a gibibyte.
    json.dump(document, sys.stdout, ensure_ascii=False, indent=2)
    sys.stdout.write("\n")


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
