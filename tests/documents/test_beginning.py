"""A facility's first documents."""

import re
from pathlib import Path

import jsonschema
import pytest
import yaml

from orchestrator.documents.beginning import PLAN, PLAYBOOK, begin
from orchestrator.documents.folder import load_checked
from orchestrator.documents.schema import json_schema
from orchestrator.errors import CallError

EXAMPLE = re.compile(r" *# *[a-z_{}.0-9-]+: |  # +[a-z-]+:$")


def filled_in(text: str) -> str:
    """The document with its examples in force: what a person gets who takes the marks away."""
    lines = re.sub(r"devices: \{+\}+", "devices:", text).splitlines()[1:]
    kept = (line for line in lines if not line.startswith("# In the place"))
    return "\n".join(line.replace("# ", "", 1) if EXAMPLE.match(line) else line for line in kept)


@pytest.mark.parametrize("name", ["Tern Point Radio", 'It\'s "ours": 100 %', "Радио", "# 1"])
def test_it_passes_the_check_as_it_is(tmp_path: Path, name: str) -> None:
    """Whatever the facility is called."""
    made = begin(tmp_path / "ours", name)
    documents = load_checked(tmp_path / "ours")
    assert documents.plan.facility == name
    assert [each.title for each in documents.playbooks] == ["First change"]
    assert all((tmp_path / "ours" / file).exists() for file in made)


def test_the_examples_in_it_are_right() -> None:
    """With the marks taken away both documents are of their shapes, by jsonschema too."""
    for what, text in (("plan", PLAN.format(name="Ours")), ("playbook", PLAYBOOK)):
        document = yaml.safe_load(filled_in(text))
        assert "engine" in document["devices"], filled_in(text)
        jsonschema.validate(document, json_schema(what))  # type: ignore[arg-type]  # a What


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    """A folder with anything in it, a file, a place that can't be written to: refused."""
    (tmp_path / "note.txt").write_text("mine")
    for place in (tmp_path, tmp_path / "note.txt"):
        with pytest.raises(CallError, match="already"):
            begin(place, "Ours")
    assert [path.name for path in tmp_path.iterdir()] == ["note.txt"]
    with pytest.raises(CallError, match="can't be made"):
        begin(Path("/proc/ours"), "Ours")
