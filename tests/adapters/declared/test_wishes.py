import dataclasses

import pytest

from orchestrator.adapters.declared.values import Unwritable
from orchestrator.adapters.declared.wishes import doing, wish
from orchestrator.facility.description import Description, Pick, Read, WriteRule
from orchestrator.facility.step import AddressValue, Assigned, StepKind
from orchestrator.running.protocols import Part
from tests.adapters.makes import CORVID, GROUP, TAMARISK, a_step, readdress, renumber, repoint

K = StepKind


def legs(body: object, *fields: str) -> Description:
    """A node whose renumber has that body, and whose groups stand in these fields."""
    held = {"number": Pick(at="/n")} | {
        name: Pick(at=f"/{name}", unassigned="", has_unassigned=True) for name in fields
    }
    reads = {**TAMARISK.reads, Part.SOURCES: Read(get="/tx", entries="", fields=held)}
    rule = WriteRule(method="PUT", path="/tx/{key}", body=body)
    return dataclasses.replace(TAMARISK, reads=reads, writes={K.RENUMBER: rule})


def both(*groups: str | None) -> Assigned:
    """A number with those groups."""
    return Assigned(421, groups)


def test_a_renumber_writes_what_the_body_asks() -> None:
    """Number and group where the body has both, the number alone where it has that alone."""
    assert wish(TAMARISK, renumber(421, GROUP)).given == {"number": "0421", "group": GROUP}
    assert wish(CORVID, renumber(421, GROUP)).given == {"number": 421}


def test_unassigned_is_said_the_devices_way() -> None:
    """No number and no group are the device's own words for that."""
    assert wish(TAMARISK, renumber(None, None)).given == {"number": "----", "group": ""}
    assert wish(CORVID, renumber(None, None)).given == {"number": 0}


def test_each_leg_has_its_group() -> None:
    """Where the body names legs, each gets its own; one field for all needs one group for all."""
    step = a_step(K.RENUMBER, both("a:1", "b:1"), source="input-1")
    two = legs(["{group_1}", "{group_2}"], "group_1", "group_2")
    assert wish(two, step).given == {"group_1": "a:1", "group_2": "b:1"}
    with pytest.raises(Unwritable, match="one group for all legs"):
        wish(legs("{group}", "group"), step)
    same = a_step(K.RENUMBER, both("a:1", "a:1"), source="input-1")
    assert wish(legs("{group}", "group"), same).given == {"group": "a:1"}


@pytest.mark.parametrize("name", ["group_3", "group_0", "group_x"])
def test_a_leg_that_is_none(name: str) -> None:
    """A description that speaks of a leg which the step has not is told."""
    step = a_step(K.RENUMBER, both("a:1", "b:1"), source="input-1")
    with pytest.raises(Unwritable, match=name):
        wish(legs(f"{{{name}}}", name), step)


def test_on_and_off() -> None:
    """Disable writes off, enable on, in the device's words."""
    assert wish(TAMARISK, a_step(K.DISABLE, False, source="input-1")).given == {"enabled": "off"}
    assert wish(TAMARISK, a_step(K.ENABLE, True, source="input-1")).given == {"enabled": "on"}


def test_repoint_by_group_and_by_number() -> None:
    """A destination is pointed in the way that it listens; nothing is unassigned."""
    assert wish(TAMARISK, repoint(group=GROUP)).given == {"hears": GROUP}
    assert wish(TAMARISK, repoint()).given == {"hears": ""}
    assert wish(CORVID, repoint(number=512)).given == {"hears": 512}
    assert wish(CORVID, repoint(number=512, group=GROUP)).given == {"hears": 512}
    with pytest.raises(Unwritable, match="listens by number"):
        wish(CORVID, repoint(group=GROUP))
    with pytest.raises(Unwritable, match="listens by group, not to 311"):
        wish(TAMARISK, repoint(number=311))


def test_readdress() -> None:
    """Address, prefix and gateway; no gateway is what the description says."""
    asked = wish(TAMARISK, readdress(None))
    assert asked.given == {"address": "127.44.3.72", "prefix": 25, "gateway": ""}
    assert (asked.part, asked.name) == (Part.INTERFACES, "main")
    assert asked.missing == {"key"}
    assert wish(CORVID, readdress("127.44.3.254")).given["gateway"] == "127.44.3.254"
    assert wish(CORVID, readdress(None)).given["gateway"] is None
    assert wish(CORVID, readdress(None)).missing == frozenset()


def test_settings_and_labels() -> None:
    """A label belongs to a source, a setting to the device; other settings are asked for."""
    label = wish(TAMARISK, a_step(K.SET, "MIC", source="input-1", setting="label"))
    assert (label.part, label.name, label.given) == (Part.SOURCES, "input-1", {"label": "MIC"})
    domain = wish(TAMARISK, a_step(K.SET, 3, setting="ptp_domain"))
    assert (domain.part, domain.given) == (Part.SETTINGS, {"value": 3})
    assert domain.missing == frozenset()
    priority = wish(TAMARISK, a_step(K.SET, 3, setting="ptp_priority"))
    assert priority.missing == {"ptp_domain"}


def test_save_needs_nothing() -> None:
    """A save writes no value."""
    assert wish(TAMARISK, a_step(K.SAVE)).missing == frozenset()


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (a_step(K.SAVE), "corvid-engine has no rule for 'save'"),
        (a_step(K.SET, "x", source="a", setting="label"), "no rule for 'set label'"),
        (a_step(K.SET, "x", source="a", setting="gain"), "no setting 'gain'"),
        (a_step(K.SET, 1, setting="gain"), "no rule for the setting 'gain'"),
        (a_step(K.CONFIRM, AddressValue("main", "127.0.0.1", 8)), "nothing to write"),
        (a_step(K.BY_HAND), "nothing to write"),
        (a_step(K.RENUMBER, 5, source="a"), "nothing to write"),
    ],
)
def test_what_has_no_rule_is_refused(step: object, words: str) -> None:
    """Nothing is sent for a step that the description does not know; the sentence says which."""
    with pytest.raises(Unwritable, match=words):
        wish(CORVID, step)  # type: ignore[arg-type]


def test_a_field_that_is_not_read_is_not_written() -> None:
    """A rule that asks for a value whose writing nobody described is refused."""
    with pytest.raises(Unwritable, match="where 'group' is read"):
        wish(legs("{group}"), renumber(421, GROUP))
    bare = dataclasses.replace(
        TAMARISK, reads={**TAMARISK.reads, Part.SOURCES: Read(get="/tx", fields={})}
    )
    with pytest.raises(Unwritable, match="where 'enabled' is read"):
        wish(bare, a_step(K.DISABLE, False, source="input-1"))


def test_every_kind_is_worded() -> None:
    """What is being done is said in words, with the thing that it is done to."""
    words = [
        doing(step)
        for step in (
            a_step(K.DISABLE, False, source="mic"),
            renumber(1, None, "mic"),
            repoint(),
            readdress(None),
            a_step(K.SET, 1, setting="ptp_domain"),
            a_step(K.SET, "x", source="mic", setting="label"),
            a_step(K.ENABLE, True, source="mic"),
            a_step(K.SAVE),
            a_step(K.CONFIRM),
        )
    ]
    assert words == [
        "disabling source mic",
        "renumbering source mic",
        "pointing destination output-1",
        "readdressing it to 127.44.3.72",
        "setting ptp_domain",
        "setting label of source mic",
        "enabling source mic",
        "saving",
        "confirm",
    ]
