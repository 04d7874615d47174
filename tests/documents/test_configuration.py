import stat
from pathlib import Path

import pytest

from orchestrator.documents.configuration import read_configuration, write_configuration
from orchestrator.errors import CallError, DocumentError
from orchestrator.facility.configuration import Configuration

ONE = Configuration(
    device="rack-node",
    serial="SW-7",
    run="2026-11-25-1",
    taken_at="2026-11-25T01:02:03+00:00",
    parts={"an-id": {"validationFingerprint": None, "values": [{"path": ["root"], "values": []}]}},
)


def test_what_is_written_is_read(tmp_path: Path) -> None:
    """Word for word; nobody but its owner may read the file."""
    path = tmp_path / "configuration-rack-node.json"
    write_configuration(path, ONE)
    assert read_configuration(path) == ONE
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_what_is_none(tmp_path: Path) -> None:
    """Another document, and no file."""
    path = tmp_path / "x.json"
    path.write_text('{"schema": "cutsheet/as-found/1"}', encoding="utf-8")
    with pytest.raises(DocumentError):
        read_configuration(path)
    with pytest.raises(CallError):
        read_configuration(tmp_path / "gone.json")
