"""A device's whole configuration, kept in a file before a run.

Only the owner of the file may read it: what a device tells of itself may hold more than it should.
"""

from pathlib import Path

from pydantic import TypeAdapter

from orchestrator.documents import json_file
from orchestrator.errors import CallError
from orchestrator.facility.configuration import Configuration

SCHEMA = "cutsheet/configuration/1"
_ADAPTER: TypeAdapter[Configuration] = TypeAdapter(Configuration)
_FIX = "take another run's; a configuration is not written by hand"
_OWNER_ONLY = 0o600


def write_configuration(path: Path, configuration: Configuration) -> None:
    """Keep a configuration in ``path``, replacing what was there as a whole.

    Raises:
        CallError: the file can't be written.
    """
    json_file.write(path, configuration, _ADAPTER, SCHEMA)
    try:
        path.chmod(_OWNER_ONLY)
    except OSError as error:
        raise CallError(f"{path} can't be kept to its owner: {error.strerror}") from None


def read_configuration(path: Path) -> Configuration:
    """Read a configuration.

    Raises:
        DocumentError: the file is none.
        CallError: there is no such file.
    """
    return json_file.read(path, _ADAPTER, SCHEMA, _FIX)
