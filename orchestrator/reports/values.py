"""Values as plain JSON: the form that every ``--json`` document uses.

- what a source holds: ``{"number": 311, "groups": ["239.194.1.55:5004"]}``; ``number`` is null
  where none is assigned, ``groups`` has one entry a leg
- what a destination hears: ``{"listens_to": 311}``, a group as text, or null for nothing
- an address: ``{"interface": "main", "address": "10.44.3.31", "prefix": 24, "gateway": null}``
- a switch, a label, a setting: itself; null where it is not known
"""

from typing import Any

from orchestrator.facility.change import Change
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepValue

Json = dict[str, Any]


def value_json(value: StepValue) -> Any:
    """A step value as plain JSON."""
    match value:
        case Assigned(number=number, groups=groups):
            return {"number": number, "groups": list(groups)}
        case AddressValue(interface=interface, address=address, prefix=prefix, gateway=gateway):
            return {
                "interface": interface,
                "address": address,
                "prefix": prefix,
                "gateway": gateway,
            }
        case Hearing(number=number, group=group):
            return {"listens_to": group if number is None else number}
        case _:
            return value


def subject_json(device: str, source: str | None, destination: str | None) -> Json:
    """``device``, with ``source`` or ``destination`` where there is one."""
    subject: Json = {"device": device}
    if source is not None:
        subject["source"] = source
    if destination is not None:
        subject["destination"] = destination
    return subject


def change_json(change: Change) -> Json:
    """One change."""
    return {
        **subject_json(change.device, change.source, change.destination),
        "room": change.room,
        "setting": change.setting,
        "as_found": value_json(change.as_found),
        "wanted": value_json(change.wanted),
    }


def step_json(step: Step) -> Json:
    """One step of a sequence; ``estimate_s`` in seconds, ``phase`` counts from 0.

    Steps of one device with the same ``batch`` go to it in one request; null: it goes alone.
    """
    return {
        "id": step.id,
        "step": step.kind.value,
        **subject_json(step.device, step.source, step.destination),
        **({} if step.setting is None else {"setting": step.setting}),
        "at": step.at,
        "as_found": value_json(step.as_found),
        "wanted": value_json(step.wanted),
        "after": list(step.after),
        "behind": list(step.behind),
        "why": list(step.why),
        "phase": step.phase,
        "order": step.order,
        "batch": step.batch or None,
        "estimate_s": step.estimate_s,
    }


def hazard_json(hazard: Hazard) -> Json:
    """One hazard; ``accepted`` is the reason of whoever accepted it, or null."""
    return {
        "name": hazard.name,
        "rule": hazard.rule,
        "grade": hazard.grade.value,
        "what": hazard.what,
        "where": list(hazard.where),
        "fix": hazard.fix,
        "accepted": hazard.accepted,
    }
