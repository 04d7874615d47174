"""One wording of values, steps and states, for every report."""

from collections.abc import Iterable

from orchestrator.facility.change import Change
from orchestrator.facility.hazard import Grade
from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Sequence,
    Step,
    StepKind,
    StepValue,
    batches_of,
)
from orchestrator.reports.layout import plain
from orchestrator.running.events import Failed, Failure
from orchestrator.running.view import RunState

GRADES = {
    Grade.STOPS: "Stops: nothing may be written until this is put right",
    Grade.NEEDS_NAME: "Needs a name: a person has to accept it, by its name and with a reason",
    Grade.INFORMATION: "For information",
}

RUN_STATES = {
    RunState.RUNNING: "running, or stopped without a word",
    RunState.PAUSED: "paused",
    RunState.FINISHED: "finished",
    RunState.UNDOING: "being undone",
    RunState.UNDONE: "undone",
    RunState.PARTLY_UNDONE: "undone in part",
}

FAILURES = {
    Failure.UNREACHABLE: "the device does not answer",
    Failure.UNTRUSTED: "the device shows a certificate that is not trusted",
    Failure.REFUSED: "the device refused the sign-in",
    Failure.REJECTED: "the device refused the request",
    Failure.BUSY: "the device stayed busy",
    Failure.BROKEN: "the device gave an answer that can't be used",
    Failure.WRONG_DEVICE: "another device answers there",
    Failure.OTHER_HAND: "it was neither as found nor as wanted: another hand is at work",
    Failure.NOT_DONE: "it was not done",
    Failure.OCCUPIED: "something answers at the address that it was to move to",
    Failure.UNKNOWN: "what became of it is not known",
}


def groups_words(groups: Iterable[str | None]) -> str:
    """The groups of a source's legs: ``group G``, or ``groups G and H``."""
    named = [group or "none" for group in groups]
    if not named:
        return ""
    return ("group " if len(named) == 1 else "groups ") + " and ".join(named)


def value_words(  # noqa: PLR0911 - one return a kind of value is the table itself
    value: StepValue, kind: StepKind | None = None
) -> str:
    """A step value in words.

    With the ``kind`` of a disable or enable, a switch is worded as ``switched on`` or ``off``.
    """
    match value:
        case Assigned(number=number, groups=groups):
            what = "no number" if number is None else f"number {number}"
            streams = groups_words(groups) if any(groups) else ""
            return f"{what} ({streams})" if streams else what
        case AddressValue(interface=interface, address=address, prefix=prefix, gateway=gateway):
            via = f", gateway {gateway}" if gateway else ""
            return f"address {address}/{prefix}{via} ({interface})"
        case Hearing():
            return f"listens to {value}"
        case bool() if kind in {StepKind.DISABLE, StepKind.ENABLE}:
            return "switched on" if value else "switched off"
        case bool():
            return "true" if value else "false"
        case None:
            return "not known"
        case "":
            return "empty"
        case str():
            return plain(value)
        case _:
            return str(value)


def short(value: StepValue) -> str:
    """A step value at its shortest: ``311``, ``127.44.3.31``, ``nothing``, ``on``."""
    match value:
        case bool():
            return "on" if value else "off"
        case Assigned(number=None, groups=groups) if any(groups):
            return groups_words(groups)
        case Assigned() | Hearing() | AddressValue():
            return str(value)
        case _:
            return value_words(value)


def cell(value: StepValue) -> str:
    """A step value in a table whose row says already what it is a value of."""
    match value:
        case Assigned(number=number, groups=groups):
            what = "none" if number is None else str(number)
            return f"{what} ({groups_words(groups)})" if any(groups) else what
        case AddressValue(address=address, prefix=prefix, gateway=gateway):
            which = "" if value.interface == "main" else f" ({value.interface})"
            return f"{address}/{prefix}{f', gateway {gateway}' if gateway else ''}{which}"
        case Hearing():
            return str(value)
        case _:
            return value_words(value)


def change_words(change: Change) -> tuple[str, str, str]:
    """A row of the table of changes: the setting of what, as found, wanted."""
    name = change.source or change.destination
    what = f"{name}: {change.setting}" if name else change.setting
    if change.setting == "enabled":
        kind = StepKind.ENABLE
        return (
            f"{name}: switch",
            value_words(change.as_found, kind),
            value_words(change.wanted, kind),
        )
    return what.replace("_", " "), cell(change.as_found), cell(change.wanted)


def interim_steps(sequence: Sequence) -> frozenset[str]:
    """Steps whose number or address is only for the time until a later step of the same thing.

    Such a value is always one that the plan sets aside as transit.
    """
    last: dict[tuple[StepKind, str], str] = {}
    interim: set[str] = set()
    for step in sequence.steps:
        if step.kind in {StepKind.RENUMBER, StepKind.READDRESS}:
            earlier = last.get((step.kind, step.subject))
            if earlier is not None:
                interim.add(earlier)
            last[step.kind, step.subject] = step.id
    return frozenset(interim)


def batch_mates(steps: Iterable[Step]) -> dict[str, tuple[Step, ...]]:
    """For each step that goes in one request with others, by its id: those others."""
    return {
        one.id: tuple(other for other in members if other is not one)
        for members in batches_of(steps).values()
        for one in members
    }


def step_words(  # noqa: PLR0911 - one return a kind of step is the table itself
    step: Step, *, interim: bool = False
) -> str:
    """What a step does, in words, without what it does it to: ``number 311 to 312``."""
    transit = " (transit)" if interim else ""
    match step.kind:
        case StepKind.DISABLE:
            return "switch off"
        case StepKind.ENABLE:
            return "switch on"
        case StepKind.SAVE:
            return "save, so that it boots with this"
        case StepKind.CONFIRM:
            return f"see that it answers at {short(step.wanted)}, by its serial"
        case StepKind.RENUMBER:
            return f"number {short(step.as_found)} to {short(step.wanted)}{transit}"
        case StepKind.READDRESS:
            return f"address {short(step.as_found)} to {short(step.wanted)}{transit}"
        case StepKind.REPOINT:
            return f"listen to {short(step.wanted)} (was {short(step.as_found)})"
        case StepKind.BY_HAND:
            return f"by hand: {step.setting or value_words(step.wanted)}"
        case StepKind.SET:
            what = (step.setting or "setting").replace("_", " ")
            return f"{what} {value_words(step.as_found)} to {value_words(step.wanted)}"


def failure_words(failed: Failed) -> str:
    """Why a step failed, with the device's own words."""
    said = f": {plain(failed.said)}" if failed.said else ""
    doubt = "; it may have landed all the same" if failed.unsure else ""
    return f"{FAILURES[failed.why]}{said}{doubt}"
