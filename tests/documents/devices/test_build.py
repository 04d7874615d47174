"""A device description's values, and whether its parts fit one another."""

import pytest

from orchestrator.documents.devices.build import build_description
from orchestrator.documents.devices.model import DescriptionModel
from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.reading.tree import Fault
from orchestrator.facility.description import Description, Pick
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Effect, Hears, Saves


def built(text: str) -> tuple[Description, tuple[Fault, ...]]:
    """The description in a text."""
    tree, _ = yaml_reader.read(text.encode(), "x.yaml")
    return build_description(DescriptionModel.model_validate(tree.plain()))


def test_a_corvid(texts: dict[str, str]) -> None:
    """Everything that the document says, as values."""
    found, faults = built(texts["devices/corvid-engine.yaml"])
    assert faults == ()
    assert (found.name, found.make, found.port) == ("corvid-engine", "Corvid", 8080)
    gateway = found.reads["interfaces"].fields["gateway"]
    assert gateway == Pick(at="/lan/router", unassigned=None, has_unassigned=True)
    assert not found.reads["identity"].fields["serial"].has_unassigned
    assert found.settings["ptp_domain"].fields == {"value": Pick(at="/domain")}
    assert found.setting_writes["ptp_domain"].body == {"domain": "{value}"}
    assert found.traits.effects == {"ptp_domain": Effect.PLANT_WIDE}
    assert not found.writes[StepKind.READDRESS].repeatable
    assert "unsaved" not in found.reads


def test_a_tamarisk(texts: dict[str, str]) -> None:
    """What it can do follows from what there are writes for."""
    found, faults = built(texts["devices/tamarisk-node.yaml"])
    assert faults == ()
    assert found.traits.can == set(StepKind)
    assert (found.traits.saves, found.traits.hears) == (Saves.ON_SAVE, Hears.GROUP)
    enabled = found.reads["sources"].fields["enabled"]
    assert enabled.values == {"true": "on", "false": "off"}
    assert found.reads["sources"].named == "input-{key}"
    assert found.key_header == "X-Node-Key"


def test_what_can_only_be_read(texts: dict[str, str]) -> None:
    """Without writes, a device can be confirmed and be seen to by hand, nothing more."""
    text = texts["devices/corvid-engine.yaml"]
    text = text[: text.index("settings:")] + "scheme: https\n"
    found, faults = built(text.replace("scheme: http\nport: 8080\n", ""))
    assert faults == ()
    assert found.traits.can == {StepKind.CONFIRM, StepKind.BY_HAND}
    assert found.port == 443  # RFC 9110, section 4.2.2
    assert found.writes == {}


UNFIT: list[tuple[str, str, tuple[str, ...], str]] = [
    (
        'sending: "{enabled}"}}\n  enable',
        'sending: "{label}"}}\n  enable',
        ("writes", "disable", "body", "sending"),
        "{label} means nothing",
    ),
    (
        "path: /clock, body",
        "path: '/clock/{key}', body",
        ("settings", "ptp_domain", "write", "path"),
        "{key} means nothing",
    ),
    ("get: /inputs", "get: '/inputs/{key}'", ("reads", "destinations", "get"), "holds braces"),
    (
        "sign_in: basic",
        "sign_in: basic\nkey_header: X-A",
        ("key_header",),
        "means nothing where sign_in is basic",
    ),
    ("saves: at_once", "saves: on_save", ("traits", "saves"), "no 'save'"),
    (
        '      number: {at: /channel, unassigned: 0}\n      group: {at: /dest, unassigned: ""}\n',
        "",
        ("writes", "renumber"),
        "can't be read back",
    ),
]


@pytest.mark.parametrize(("old", "new", "path", "what"), UNFIT)
def test_parts_that_do_not_fit(
    texts: dict[str, str], old: str, new: str, path: tuple[str, ...], what: str
) -> None:
    """What is written has to be readable, and a brace has to mean something."""
    text = texts["devices/corvid-engine.yaml"]
    assert text.count(old) == 1
    _, (fault,) = built(text.replace(old, new))
    assert fault.path == path
    assert what in fault.what
