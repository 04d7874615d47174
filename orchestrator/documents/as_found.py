"""As-found files: a survey kept, so that a dry-run at a desk can use it."""

from dataclasses import replace
from pathlib import Path
from sys import intern

from pydantic import TypeAdapter

from orchestrator.documents import json_file
from orchestrator.facility.found import AsFound

SCHEMA = "cutsheet/as-found/1"
_ADAPTER: TypeAdapter[AsFound] = TypeAdapter(AsFound)
_FIX = "survey again; an as-found file is not written by hand"


def write_as_found(path: Path, as_found: AsFound) -> None:
    """Keep a survey in ``path``, replacing what was there as a whole.

    Raises:
        CallError: the file can't be written.
    """
    json_file.write(path, as_found, _ADAPTER, SCHEMA)


def read_as_found(path: Path) -> AsFound:
    """Read a survey.

    Raises:
        DocumentError: the file is no as-found file.
        CallError: there is no such file.
    """
    found = json_file.read(path, _ADAPTER, SCHEMA, _FIX)
    # Under the plan's own names: they are looked up all the time.
    return replace(found, devices={intern(name): one for name, one in found.devices.items()})
