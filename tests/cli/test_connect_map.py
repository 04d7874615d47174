"""The connect map's file."""

from pathlib import Path

import pytest

from orchestrator.cli.connect_map import read_connect_file
from orchestrator.errors import CallError


@pytest.mark.parametrize(
    "text", ["10.44.3.31: localhost:9031\n", '{"10.44.3.31": "localhost:9031"}']
)
def test_yaml_and_json(text: str, tmp_path: Path) -> None:
    """Both are read."""
    path = tmp_path / "ways"
    path.write_text(text, encoding="utf-8")
    assert read_connect_file(path) == {"10.44.3.31": "localhost:9031"}


@pytest.mark.parametrize("content", [b"[1, 2]", b"10.44.3.31: 9031", b"{", b"\xff\xfe\x00", b""])
def test_no_map(content: bytes, tmp_path: Path) -> None:
    """Whatever is no map of addresses to places is refused, with an example of one."""
    path = tmp_path / "ways"
    path.write_bytes(content)
    with pytest.raises(CallError, match="is no map") as refused:
        read_connect_file(path)
    assert "localhost:9031" in refused.value.fix


def test_no_file(tmp_path: Path) -> None:
    """A file that is not there is named."""
    with pytest.raises(CallError, match="ways"):
        read_connect_file(tmp_path / "ways")
