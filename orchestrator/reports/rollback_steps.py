"""The steps of the way back in words: where to go, what to set, from what, to what.

Each line reads the same way, so that it can be read out to somebody at another screen::

    3. Source `program-1`: set number from `2990` to `101`, group from `..` to `..`.
"""

from collections.abc import Iterator, Mapping, Sequence
from ipaddress import IPv4Network
from itertools import groupby

from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue
from orchestrator.reports.layout import seconds
from orchestrator.reports.markdown import bullet, code, paragraph, prose, section
from orchestrator.reports.way_back import Back
from orchestrator.running.record import RunRecord
from orchestrator.running.view import Heard, hearing

Field = tuple[str, str, str]
"""A field of a device's page, what it holds, and what to set it to."""


def step_lines(record: RunRecord, steps: Sequence[Back]) -> list[str]:
    """All steps of the way back, numbered through, under a heading for each visit to a unit."""
    lines: list[str] = []
    heard = hearing({name: found.state for name, found in record.before.items()})
    numbered = list(enumerate(steps, 1))
    for (device, _), visit in groupby(numbered, key=lambda entry: _place(entry[1])):
        entries = list(visit)
        lines += _visit(record, device, entries[0][1])
        for number, back in entries:
            lines += paragraph(" ".join(_sentences(record, back, heard)), f"{number}. ")
    return lines


def _place(back: Back) -> tuple[str, str]:
    return back.step.device, back.at


def _visit(record: RunRecord, device: str, first: Back) -> list[str]:
    lines = section(f"Go to {first.at}: {prose(device)}", 3)
    step = first.step
    if step.kind is StepKind.BY_HAND:
        return lines
    who = record.expects.get(device)
    here = code(first.at)
    if first.doubt and step.kind is StepKind.READDRESS and isinstance(step.wanted, AddressValue):
        here = f"one of {here} and {code(step.wanted.address)}, look at both,"
    serial = f"serial {code(who.serial)}, model {code(who.model)}" if who else "unit meant"
    said = f"Open the unit's own page at {here} in a browser. See that it is the {serial}"
    return [*lines, *paragraph(f"{said}, before you set anything."), ""]


def _sentences(record: RunRecord, back: Back, heard: Mapping[str, Heard]) -> Iterator[str]:
    step = back.step
    if step.kind is StepKind.SAVE:
        yield "The unit: save, so that it boots with what it now runs on."
        return
    if step.kind is StepKind.CONFIRM:
        yield from _confirm(record, back)
        return
    if step.kind is StepKind.DISABLE:
        yield _ears(step, heard)
    if back.doubt:
        yield "Look first: nobody knows whether the run did this."
    pairs = fields(step)
    sets = ", ".join(f"{name} from {code(now)} to {code(then)}" for name, now, then in pairs)
    yield f"{_subject(step)}: set {sets}{' unless it is so already' if back.doubt else ''}."
    if back.doubt:
        yield f"It is either {_either(pairs)}."
    if step.kind is StepKind.RENUMBER and len(pairs) > 1:
        yield "A unit that works its group out from the number shows the group by itself."
    if step.kind is StepKind.READDRESS:
        yield from _cable(step)


def _either(pairs: Sequence[Field]) -> str:
    now = " and ".join(code(value) for _, value, _ in pairs)
    then = " and ".join(code(value) for _, _, value in pairs)
    mixed = ", or some of each" if len(pairs) > 1 else ""
    return f"{now} or {then}{mixed}"


def _subject(step: Step) -> str:
    if step.kind is StepKind.BY_HAND:
        return "By hand"
    if step.source is not None:
        return f"Source {code(step.source)}"
    if step.destination is not None:
        return f"Destination {code(step.destination)}"
    return "The unit"


def _ears(step: Step, heard: Mapping[str, Heard]) -> str:
    who = [where for where, what in heard.items() if (step.device, step.source) in what]
    rooms = f" (on this run's units it was heard by {_listed(who)})" if who else ""
    return f"Headphones off and monitors down wherever this is heard{rooms}, then:"


def _listed(names: Sequence[str]) -> str:
    return ", ".join(code(name) for name in names)


def _confirm(record: RunRecord, back: Back) -> Iterator[str]:
    who = record.expects.get(back.step.device)
    serial = f", serial {code(who.serial)}" if who else ""
    yield f"The unit: see that it answers at {code(back.at)}{serial}."
    if back.step.estimate_s > 0:
        yield f"That can take {seconds(back.step.estimate_s)} or more."
    yield "If it does not, or another unit does: stop here."


def _cable(step: Step) -> Iterator[str]:
    if not isinstance(step.as_found, AddressValue) or not isinstance(step.wanted, AddressValue):
        return
    was, now = (
        IPv4Network(f"{value.address}/{value.prefix}", strict=False)
        for value in (step.as_found, step.wanted)
    )
    if was != now:
        yield (
            f"That is on another network ({was}): move the unit's cable there, and go on from "
            "a computer that reaches it."
        )


def fields(step: Step) -> list[Field]:
    """What to set on the way back, field by field: name, from, to; the first at the least."""
    pairs = all_fields(step)
    return [pair for pair in pairs if pair[1] != pair[2]] or pairs[:1]


def all_fields(step: Step) -> list[Field]:
    """All that a step names, what it leaves alike included."""
    pair = (step.wanted, step.as_found)
    match pair:
        case Assigned() as now, Assigned() as then:
            return _assigned(now, then)
        case AddressValue() as now, AddressValue() as then:
            return _address(now, then)
        case Hearing(), Hearing():
            return [("listens to", str(step.wanted), str(step.as_found))]
        case _:
            return [(field_name(step), shown(step.wanted), shown(step.as_found))]


def _assigned(now: Assigned, then: Assigned) -> list[Field]:
    pairs = [("number", str(now), str(then))]
    legs = max(len(now.groups), len(then.groups))
    for leg in range(legs):
        name = "group" if legs == 1 else f"group of leg {leg + 1}"
        was, will = (
            (value.groups[leg] or "none") if leg < len(value.groups) else None
            for value in (now, then)
        )
        if was is not None and will is not None:
            pairs.append((name, was, will))
    return pairs


def _address(now: AddressValue, then: AddressValue) -> list[Field]:
    return [
        (f"address of interface {then.interface}", now.address, then.address),
        ("prefix", str(now.prefix), str(then.prefix)),
        ("gateway", now.gateway or "none", then.gateway or "none"),
    ]


def field_name(step: Step) -> str:
    """What the field that a step sets is called."""
    match step.kind:
        case StepKind.DISABLE | StepKind.ENABLE:
            return "switch"
        case StepKind.RENUMBER:
            return "number"
        case StepKind.REPOINT:
            return "listens to"
        case StepKind.READDRESS:
            return "address"
        case _:
            return code(step.setting or "setting")


def shown(value: StepValue) -> str:
    """A value as a device's page is likely to show it."""
    match value:
        case bool():
            return "on" if value else "off"
        case None:
            return "not known"
        case "":
            return "(empty)"
        case _:
            return str(value)


def entry(subject: str, text: str) -> list[str]:
    """One entry of a list about ``subject``."""
    return bullet(f"{code(subject)}: {text}")
