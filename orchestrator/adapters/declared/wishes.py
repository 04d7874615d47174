"""What a step asks for, in the device's way of writing it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from orchestrator.adapters.declared import as_found, values
from orchestrator.adapters.declared.states import group_field
from orchestrator.adapters.declared.template import names_in
from orchestrator.adapters.declared.values import Unwritable
from orchestrator.facility.description import Description, Json, Pick, WriteRule
from orchestrator.facility.quick import quick
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.facility.traits import Hears
from orchestrator.facility.wanted import SettingValue
from orchestrator.running.protocols import Part

LABEL = "label"
SET_LABEL = "set_label"

_DOING = {
    StepKind.DISABLE: "disabling source {0.source}",
    StepKind.ENABLE: "enabling source {0.source}",
    StepKind.RENUMBER: "renumbering source {0.source}",
    StepKind.REPOINT: "pointing destination {0.destination}",
    StepKind.SET: "setting {0.setting}",
    StepKind.READDRESS: "readdressing it to {0.wanted}",
    StepKind.SAVE: "saving",
}


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """One write to be made: by which rule, to which entry, and the values that the step gives.

    ``part`` is where the entry ``name`` is read; ``name`` None: the write is about no entry.
    ``given`` holds the values by the names of their placeholders; ``found`` and
    ``wanted`` are what the step found and wants, in our own values by the names of the fields.
    """

    rule: WriteRule
    part: Part
    name: str | None = None
    given: Mapping[str, Json] = field(default_factory=dict)
    found: Mapping[str, SettingValue | None] = field(default_factory=dict)
    wanted: Mapping[str, SettingValue | None] = field(default_factory=dict)

    @property
    def asked(self) -> frozenset[str]:
        """The placeholders of the rule."""
        return names_in(self.rule.path) | names_in(self.rule.body)

    @property
    def missing(self) -> frozenset[str]:
        """The placeholders that only the device can fill."""
        return self.asked - self.given.keys()


def wish(description: Description, step: Step) -> Wish:
    """Work out what ``step`` writes.

    Raises:
        Unwritable: the device description has no rule for it, or no way to say its value.
    """
    made = _wanted(description, step)
    found = as_found.found_values(description, step)
    fields = _fields(description, made.part, step.setting)
    asked = made.asked
    taken = as_found.placeholders(fields, found, asked)
    lacking = {name for name in asked - taken.keys() if name.startswith(as_found.PREFIX)}
    if lacking and made.part is not Part.SETTINGS:
        raise Unwritable(f"the step does not say what '{min(lacking)}' is")
    wanted = as_found.found_values(description, replace(step, as_found=step.wanted))
    return replace(made, given={**made.given, **taken}, found=found, wanted=wanted)


def _fields(description: Description, part: Part, setting: str | None) -> Mapping[str, Pick]:
    if part is Part.SETTINGS:
        return description.settings[setting or ""].fields
    read = description.reads.get(part)
    return {} if read is None else read.fields


def _wanted(description: Description, step: Step) -> Wish:
    match step.kind, step.wanted:
        case ((StepKind.DISABLE | StepKind.ENABLE), _):
            return _switched(description, step)
        case StepKind.RENUMBER, Assigned() as assigned:
            return _renumbered(description, step, assigned)
        case StepKind.REPOINT, Hearing() as hearing:
            return _repointed(description, step, hearing)
        case StepKind.READDRESS, AddressValue() as address:
            return _readdressed(description, step, address)
        case StepKind.SET, (bool() | int() | float() | str()) as value:
            return _set(description, step, value)
        case StepKind.SAVE, _:
            return Wish(rule=_rule(description, step.kind), part=Part.UNSAVED)
        case _:
            raise Unwritable(f"a step '{step.kind}' to {step.wanted} is nothing to write")


def doing(step: Step) -> str:
    """What the write of ``step`` does, in words."""
    if step.kind is StepKind.SET and step.source:
        return f"setting {step.setting} of source {step.source}"
    return _DOING.get(step.kind, str(step.kind)).format(step)


def _rule(description: Description, kind: StepKind | str) -> WriteRule:
    if kind not in description.writes:
        what = str(kind).replace("_", " ")
        raise Unwritable(f"the device description {description.name} has no rule for '{what}'")
    return description.writes[kind]


def _switched(description: Description, step: Step) -> Wish:
    rule = _rule(description, step.kind)
    fields = description.reads[Part.SOURCES].fields
    given = {"enabled": step.kind is StepKind.ENABLE}
    return Wish(rule=rule, part=Part.SOURCES, name=step.source, given=_written(fields, given, rule))


def _renumbered(description: Description, step: Step, assigned: Assigned) -> Wish:
    rule = _rule(description, step.kind)
    fields = description.reads[Part.SOURCES].fields
    given = _written(fields, {"number": assigned.number}, rule)
    asked = names_in(rule.body) | names_in(rule.path)
    for name in sorted(asked):
        if name == "group":
            given[name] = _group(fields, 1, _only_group(assigned.groups))
        elif name.startswith("group_"):
            leg = _leg(name, assigned.groups)
            given[name] = _group(fields, leg, assigned.groups[leg - 1])
    if any(assigned.groups) and group_field(fields, 1) is None:
        raise Unwritable("the device tells no group, so none can be set")
    return Wish(rule=rule, part=Part.SOURCES, name=step.source, given=given)


def _only_group(groups: tuple[str | None, ...]) -> str | None:
    if len(set(groups)) > 1:
        raise Unwritable("the device takes one group for all legs, and they are to differ")
    return groups[0] if groups else None


def _leg(name: str, groups: tuple[str | None, ...]) -> int:
    figure = name.removeprefix("group_")
    if not figure.isdecimal() or not 1 <= int(figure) <= len(groups):
        raise Unwritable(f"the device takes '{name}', and the step has {len(groups)} leg(s)")
    return int(figure)


def _group(fields: Mapping[str, Pick], leg: int, group: str | None) -> Json:
    at = group_field(fields, leg)
    if at is None:
        raise Unwritable("the device description does not say where 'group' is read")
    return values.encode(at, group)


def _repointed(description: Description, step: Step, hearing: Hearing) -> Wish:
    rule = _rule(description, step.kind)
    by_number = description.traits.hears is Hears.NUMBER
    value = hearing.number if by_number else hearing.group
    if value is None and hearing != Hearing():
        raise Unwritable(f"the device listens by {description.traits.hears}, not to {hearing}")
    fields = description.reads[Part.DESTINATIONS].fields
    given = _written(fields, {"hears": value}, rule)
    return Wish(rule=rule, part=Part.DESTINATIONS, name=step.destination, given=given)


def _readdressed(description: Description, step: Step, wanted: AddressValue) -> Wish:
    rule = _rule(description, step.kind)
    given: dict[str, SettingValue | None] = {"address": wanted.address, "prefix": wanted.prefix}
    given["gateway"] = wanted.gateway
    fields = description.reads[Part.INTERFACES].fields
    for name in ("prefix", "gateway"):
        _refuse_unwritten(name, step, rule, fields)
    ours = _written(fields, given, rule)
    return Wish(rule=rule, part=Part.INTERFACES, name=wanted.interface, given=ours)


def _refuse_unwritten(name: str, step: Step, rule: WriteRule, fields: Mapping[str, Pick]) -> None:
    """A value that is read, is to change, and that the rule does not write."""
    was, wanted = getattr(step.as_found, name, None), getattr(step.wanted, name)
    written = name in names_in(rule.body) | names_in(rule.path)
    if name in fields and was is not None and was != wanted and not written:
        raise Unwritable(
            f"the {name} is to change from {was} to {wanted}, and the device description's "
            "readdress does not write it"
        )


def _set(description: Description, step: Step, value: SettingValue) -> Wish:
    if step.source is not None:
        if step.setting != LABEL:
            raise Unwritable(f"a source has no setting '{step.setting}' that could be written")
        rule = _rule(description, SET_LABEL)
        given = _written(description.reads[Part.SOURCES].fields, {LABEL: value}, rule)
        return Wish(rule=rule, part=Part.SOURCES, name=step.source, given=given)
    name = step.setting or ""
    if name not in description.setting_writes or name not in description.settings:
        raise Unwritable(
            f"the device description {description.name} has no rule for the setting '{name}'"
        )
    rule = description.setting_writes[name]
    given = _written(description.settings[name].fields, {"value": value}, rule)
    return Wish(rule=rule, part=Part.SETTINGS, name=name, given=given)


def _written(
    fields: Mapping[str, Pick], given: Mapping[str, SettingValue | None], rule: WriteRule
) -> dict[str, Json]:
    """Those of the ``given`` values that the rule asks for, in the device's writing."""
    asked = names_in(rule.path) | names_in(rule.body)
    return {
        name: values.encode(_at(fields, name), value)
        for name, value in given.items()
        if name in asked
    }


def _at(fields: Mapping[str, Pick], name: str) -> Pick:
    if name not in fields:
        raise Unwritable(f"the device description does not say where '{name}' is read")
    return fields[name]
