"""What a step took for granted, by the names of a device description's fields.

A body can state it (``{found_number}``) and so be a precondition; a whole-object write compares it
with what it has just read.
"""

from collections.abc import Mapping

from orchestrator.adapters.declared import values
from orchestrator.adapters.declared.entries import Entry
from orchestrator.adapters.declared.states import group_field
from orchestrator.facility.description import Description, Json, Pick
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.facility.traits import Hears
from orchestrator.facility.wanted import SettingValue

PREFIX = "found_"
Plain = dict[str, SettingValue | None]


def found_values(description: Description, step: Step) -> Plain:
    """What ``step`` found, in our own values; empty where the step does not say."""
    match step.kind, step.as_found:
        case ((StepKind.DISABLE | StepKind.ENABLE), bool() as enabled):
            return {"enabled": enabled}
        case StepKind.RENUMBER, Assigned(number=number, groups=groups):
            return {"number": number, **_groups(groups)}
        case StepKind.REPOINT, Hearing(number=number, group=group):
            by_number = description.traits.hears is Hears.NUMBER
            return {"hears": number if by_number else group}
        case StepKind.READDRESS, AddressValue() as was:
            return {"address": was.address, "prefix": was.prefix, "gateway": was.gateway}
        case StepKind.SET, (bool() | int() | float() | str()) as value:
            return {"label" if step.source is not None else "value": value}
        case _:
            return {}


def _groups(groups: tuple[str | None, ...]) -> Plain:
    each: Plain = {f"group_{leg}": group for leg, group in enumerate(groups, 1)}
    return each if len(set(groups)) != 1 else {"group": groups[0], **each}


def placeholders(
    fields: Mapping[str, Pick], found: Mapping[str, SettingValue | None], asked: frozenset[str]
) -> dict[str, Json]:
    """Those ``found_...`` placeholders of ``asked`` that can be filled, in the device's writing.

    Raises:
        Unwritable: the device description knows no way to say one.
    """
    filled: dict[str, Json] = {}
    for name, value in found.items():
        at = _at(fields, name)
        if PREFIX + name in asked and at is not None:
            filled[PREFIX + name] = values.encode(at, value)
    return filled


def now(
    entry: Entry, fields: Mapping[str, Pick], names: frozenset[str], hears: Hears
) -> dict[str, SettingValue | None]:
    """The values of ``entry`` that stand in it itself, by name, in our own values.

    Raises:
        Unusable: one is not there, or makes no sense.
    """
    read: Plain = {}
    for name in sorted(names):
        at = _at(fields, name)
        if at is not None and at.get is None:
            read[name] = entry.field(at, _reader(name, hears))
    return read


def _at(fields: Mapping[str, Pick], name: str) -> Pick | None:
    if name.startswith("group_"):
        return group_field(fields, int(name.removeprefix("group_")))
    return fields.get(name)


def _reader(name: str, hears: Hears) -> values.Reader:
    if name == "hears":
        return values.number if hears is Hears.NUMBER else values.text
    return _READERS.get(name, values.text)


_READERS: dict[str, values.Reader] = {
    "number": values.number,
    "enabled": values.switch,
    "address": values.address,
    "prefix": values.prefix,
    "gateway": values.address,
    "value": values.scalar,
}
