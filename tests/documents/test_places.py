"""Where the domain's things stand in the documents."""

import pytest

from orchestrator.documents.places import Places
from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.reading.tree import Path

PLAN = """\
types:
  t: {speaks: [nmos], sources: {'in-{1..2}': {number: 11-12}}}
devices:
  a:
    type: t
    address: 127.1.0.9
    network: red
    speaks: x
  b:
    interfaces: {r: {address: 127.1.0.8}}
"""
BOOK = "devices: {a: {address: 127.1.0.7}, b: {interfaces: {r: 127.1.0.6}}}\n"
PLACES = Places(
    {
        file: yaml_reader.read(text.encode(), file)[0]
        for file, text in (("plan.yaml", PLAN), ("playbooks/p.yaml", BOOK))
    }
)


@pytest.mark.parametrize(
    ("file", "path", "line", "column"),
    [
        ("plan.yaml", ("devices", "a", "interfaces", "main", "address"), 6, 14),
        ("plan.yaml", ("devices", "a", "interfaces", "main", "network"), 7, 14),
        ("plan.yaml", ("devices", "b", "interfaces", "r", "address"), 10, 31),
        ("plan.yaml", ("devices", "b", "interfaces", "r", "network"), 10, 31),
        ("plan.yaml", ("devices", "a", "sources", "in-2", "number"), 2, 55),
        ("plan.yaml", ("devices", "a", "speaks", 0), 8, 13),
        ("plan.yaml", ("devices", "b", "blocks", 0), 9, 3),
        ("playbooks/p.yaml", ("devices", "a", "interfaces", "main"), 1, 24),
        ("playbooks/p.yaml", ("devices", "b", "interfaces", "r"), 1, 56),
    ],
)
def test_short_forms_ranges_and_types(file: str, path: Path, line: int, column: int) -> None:
    """A thing is found where the document says it, however short."""
    found = PLACES.problem(file, path, "what", "fix")
    assert (found.line, found.column) == (line, column)


def test_a_file_that_was_not_read() -> None:
    """The file as a whole."""
    found = PLACES.problem("playbooks/other.yaml", ("a",), "what", "fix")
    assert (found.file, found.line, found.column) == ("playbooks/other.yaml", 0, 0)
