"""Files of pairs."""

from pathlib import Path

import pytest

from orchestrator.cli.pairs_file import read_pairs_file
from orchestrator.errors import CallError, words


def test_pairs_are_read(tmp_path: Path) -> None:
    """YAML, or JSON, which is YAML too."""
    path = tmp_path / "pairs"
    for text in ("monitors-down: all muted\n", '{"monitors-down": "all muted"}'):
        path.write_text(text, encoding="utf-8")
        assert read_pairs_file(path, "map", "a: b") == {"monitors-down": "all muted"}


@pytest.mark.parametrize("text", ["- a\n", "a: 1\n", "a: {", "a: !!python/name:os.system x\n"])
def test_what_is_no_map_of_texts_is_refused(tmp_path: Path, text: str) -> None:
    """With what it should have been; a tag is never obeyed."""
    path = tmp_path / "pairs"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CallError, match="no map of names") as caught:
        read_pairs_file(path, "map of names", "a: b")
    assert "a: b" in words(caught.value).fix


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    """Said by its name."""
    with pytest.raises(CallError, match="can't read"):
        read_pairs_file(tmp_path / "none", "map", "a: b")
