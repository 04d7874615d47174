"""The shape of a device description."""

import pytest

from orchestrator.documents.devices.model import DescriptionModel, PickModel
from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.reading.shape import fit

MINIMUM = "device: d\nmake: m\nmodels: [x]\nreads: {identity: {get: /, fields: {serial: /s}}}\n"


def what(text: str) -> list[str]:
    """What is wrong with a description."""
    tree, _ = yaml_reader.read(text.encode(), "x.yaml")
    json = {"unassigned", "values", "body", "each", "done", "busy"}
    found = fit(tree, DescriptionModel, free=lambda path: not json.isdisjoint(map(str, path)))
    return [fault.what for fault in found[1]]


def test_the_descriptions_fit(texts: dict[str, str]) -> None:
    """Both of the invented makes."""
    assert what(texts["devices/corvid-engine.yaml"]) == []
    assert what(texts["devices/tamarisk-node.yaml"]) == []


def test_identity_is_the_least_that_has_to_be_read() -> None:
    """Nothing is written to what can't prove who it is; all else is optional."""
    assert what(MINIMUM) == []
    assert what(MINIMUM.replace("serial: /s", "model: /s")) == ["'serial' is missing"]


def test_a_pick_may_be_its_pointer_alone() -> None:
    """The short form is the long one with nothing else said."""
    read = DescriptionModel.model_validate(yaml_reader.read(MINIMUM.encode(), "x")[0].plain()).reads
    assert read.identity.fields.serial == PickModel(
        at="/s",
        values={},
        unassigned=None,
        unit=None,
        digits=None,
        part=None,
        within=None,
        get=None,
    )


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("scheme: ftp", "'ftp' can't stand here"),
        ("sign_in: magic", "'magic' can't stand here"),
        ("port: 0", "0 is not between 1 and 65535"),
        ("timeout_s: soon", "'soon' is no time in seconds"),
        ("tried_with: [2.7]", "'2.7' is not text"),
        ("key_header: 'a b'", "'a b' is no header name"),
        ("traits: {saves: never}", "'never' can't stand here"),
        ("traits: {legs: 3}", "3 is not between 1 and 2"),
        ("writes: {reboot: {method: POST, path: /r}}", "'reboot' is not a key here"),
        ("writes: {save: {method: GET, path: /r}}", "'GET' can't stand here"),
        ("settings: {a: {get: /x, field: y}}", "'y' is no JSON Pointer"),
        ("settings: {a: {get: /x, field: /y, effect: loud}}", "'loud' can't stand here"),
    ],
)
def test_what_does_not_fit(more: str, said: str) -> None:
    """Each with one message."""
    assert what(f"{MINIMUM}{more}\n") == [said]


def test_names_hold_the_key_once() -> None:
    """Else two entries would have one name, or none of their own."""
    reads = MINIMUM.replace("/s}}", "/s}}, sources: {get: /t, named: NAMED, fields: {number: /n}}")
    assert what(reads.replace("NAMED", "'in-{key}'")) == []
    for named in ("input", "'{key}-{key}'", "'{slot}'"):
        assert len(what(reads.replace("NAMED", named))) == 1
