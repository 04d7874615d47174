"""One edit made in the plan's tree: what is said about it, and where it goes."""

from io import StringIO

import pytest
from ruamel.yaml import YAML

from orchestrator.documents.adopt_edits import make_all
from orchestrator.facility.edit import (
    Edit,
    SetAddress,
    SetBlocks,
    SetDestination,
    SetSource,
    Unassigned,
)
from orchestrator.facility.plan import ListensTo

TEXT = """\
devices:
  a:
    room: north
    interfaces:
      r: {address: 127.1.0.8}
    sources:
      in-{1..2}: {number: 11-12}  # two of a kind
      x: {number: 5, enabled: true}

  # the next one
  b: {room: north}
"""


def made(*edits: Edit) -> tuple[str, list[str]]:
    """The text after the edits, and what was said."""
    yaml = YAML()
    document = yaml.load(TEXT)
    said = make_all(document, edits)
    stream = StringIO()
    yaml.dump(document, stream)
    return stream.getvalue(), said


@pytest.mark.parametrize(
    ("edit", "line", "said"),
    [
        (
            SetAddress("a", "r", "127.2.0.8", network="blue"),
            "      r: {address: 127.2.0.8, network: blue}\n",
            ["a/r: address 127.2.0.8, was 127.1.0.8", "a/r: network blue, was not said"],
        ),
        (
            SetAddress("a", "b", "127.2.0.8"),
            "      b: {address: 127.2.0.8}\n",
            ["a/b: address 127.2.0.8"],
        ),
        (SetBlocks("a", (1, 2)), "    blocks: [1, 2]\n", ["a: blocks 1, 2, was not said"]),
        (
            SetSource(device="a", source="x", enabled=False, number=5),
            "      x: {number: 5, enabled: false}\n",
            ["a/x: enabled false, was true"],
        ),
        (
            SetSource(device="a", source="x", number=Unassigned()),
            "      x: {enabled: true}\n",
            ["a/x: number not said, was 5"],
        ),
        (
            SetDestination("b", "out", ListensTo(number=7)),
            "destinations: {out: {listens_to: 7}}",
            ["b/out: listens_to 7"],
        ),
    ],
)
def test_each_edit_goes_where_it_belongs(edit: Edit, line: str, said: list[str]) -> None:
    """In the device's own entry, with a line for each value that changed."""
    text, words = made(edit)
    assert line in text
    assert words == said


def test_comments_stay_with_their_neighbours() -> None:
    """New keys and split ranges leave comments above and beside where they were."""
    text, _ = made(
        SetSource(device="a", source="in-2", number=99), SetSource(device="a", source="y", number=6)
    )
    (line,) = [line for line in text.splitlines() if "# two of a kind" in line]
    assert line.startswith("      in-2: {number: 99}  ")
    assert text.index("y: {number: 6}") < text.index("# the next one") < text.index("  b: {")


def test_one_is_not_true() -> None:
    """A value of another kind is a change, although Python calls the two equal."""
    _, said = made(SetSource(device="a", source="in-1", enabled=True))
    assert said == ["a/in-1: enabled true, was not said"]
