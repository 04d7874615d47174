"""The shape of a playbook."""

import pytest

from orchestrator.documents.plans.playbook_model import PlaybookModel
from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.reading.shape import fit


def what(text: str) -> list[str]:
    """What is wrong with a playbook."""
    tree, _ = yaml_reader.read(text.encode(), "x.yaml")
    return [fault.what for fault in fit(tree, PlaybookModel)[1]]


def test_the_playbook_fits(texts: dict[str, str]) -> None:
    """Key ranges, auto, settings and acceptances."""
    assert what(texts["playbooks/north.yaml"]) == []


@pytest.mark.parametrize(
    ("device", "said"),
    [
        ("{unit: known}", "'known' can't stand here"),
        ("{sources: {a: {number: next}}}", "'next' is no channel number"),
        ("{settings: {a: [1]}}", "a list is not text"),
        ("{reach_at: bench}", "'bench' is not an IPv4 address"),
        ("{serial: x}", "'serial' is not a key here"),
        ("{interfaces: {}}", "'interfaces' names none"),
    ],
)
def test_what_can_not_be_asked(device: str, said: str) -> None:
    """Each with one message."""
    assert what(f"playbook: x\ndevices: {{a: {device}}}\n") == [said]


def test_a_release_says_all_four_things() -> None:
    """Who gave it, for what, under which reference, until when."""
    text = "playbook: x\ndevices: {}\nreleases: [{what: a}]\n"
    assert what(text) == [f"'{key}' is missing" for key in ("by", "reference", "until")]
