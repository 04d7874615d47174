"""A survey: what the devices say of themselves, devices that did not answer first.

The JSON document, ``cutsheet/survey/1``::

    facility, taken_at
    not_found[]  device, room, at, kind, why
    devices[]    device, room, at, serial, model, firmware, response_s, unsaved
                 interfaces[]    interface, address, prefix, gateway
                 sources[]       source, number, groups[], label, enabled
                 destinations[]  destination, listens_to, label
                 settings        {name: value}
"""

from collections.abc import Mapping
from typing import Any

from orchestrator.facility.found import AsFound, DeviceState, Found, NotFound
from orchestrator.reports.layout import heading, item, table, wrap
from orchestrator.reports.values import Json

_NO_ROOM = "no room"


def text(as_found: AsFound, rooms: Mapping[str, str]) -> str:
    """A survey for people: devices not found first, then each room.

    ``rooms`` gives each device's room.
    """
    lines = wrap(f"Survey, {as_found.facility}, {as_found.taken_at}.")
    missing = not_found_lines(as_found)
    if missing:
        lines += heading("Not found")
        lines += [*missing, *wrap("No answer is not vacant: what they hold is still theirs.")]
    found = {name: entry for name, entry in as_found.devices.items() if isinstance(entry, Found)}
    for room in dict.fromkeys(rooms.get(name, _NO_ROOM) for name in found):
        lines += heading(room)
        for name, entry in found.items():
            if rooms.get(name, _NO_ROOM) == room:
                lines += ["", *_device(name, entry)]
    return "\n".join(lines) + "\n"


def not_found_lines(as_found: AsFound) -> list[str]:
    """The devices that were not found: where each was looked for, and why it was not found."""
    return [
        line
        for name, entry in as_found.devices.items()
        if isinstance(entry, NotFound)
        for line in item(name, _why(name, entry), 2)
    ]


def _why(name: str, entry: NotFound) -> str:
    """Where and why, without the name; most reasons begin with both."""
    at = f"at {entry.at}"
    said = entry.why.removeprefix(f"{name} ")
    return said if said.startswith(at) else f"{at}: {entry.why}"


def not_found_json(as_found: AsFound) -> list[Json]:
    """The devices that were not found, as JSON."""
    return [
        {"device": name, "at": entry.at, "kind": entry.kind, "why": entry.why}
        for name, entry in as_found.devices.items()
        if isinstance(entry, NotFound)
    ]


def _device(name: str, entry: Found) -> list[str]:
    state = entry.state
    firmware = f", firmware {state.identity.firmware}" if state.identity.firmware else ""
    lines = wrap(f"{name} at {entry.at}: {state.identity}{firmware}", 0, 2)
    if state.unsaved:
        lines += wrap("runs on changes that it would not boot with: they are not saved", 2)
    for interface, found in state.interfaces.items():
        via = f", gateway {found.gateway}" if found.gateway else ""
        lines += wrap(f"interface {interface}: {found.address}/{found.prefix}{via}", 2, 2)
    return lines + _sources(state) + _destinations(state) + _settings(state)


def _sources(state: DeviceState) -> list[str]:
    rows = [
        (
            name,
            "none" if source.number is None else str(source.number),
            " and ".join(group or "none" for group in source.groups) or "none",
            source.label,
            "on" if source.enabled else "off",
        )
        for name, source in state.sources.items()
    ]
    return table(("source", "number", "group", "label", "switch"), rows) if rows else []


def _destinations(state: DeviceState) -> list[str]:
    rows = [
        (
            name,
            "nothing" if destination.hears is None else str(destination.hears),
            destination.label,
        )
        for name, destination in state.destinations.items()
    ]
    return table(("destination", "listens to", "label"), rows) if rows else []


def _settings(state: DeviceState) -> list[str]:
    rows = [(name, _setting(value)) for name, value in state.settings.items()]
    return table(("setting", "is"), rows) if rows else []


def _setting(value: Any) -> str:
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)


def as_json(as_found: AsFound, rooms: Mapping[str, str]) -> Json:
    """A survey as the document that the module describes."""
    return {
        "schema": "cutsheet/survey/1",
        "facility": as_found.facility,
        "taken_at": as_found.taken_at,
        "not_found": [
            {**entry, "room": rooms.get(entry["device"])} for entry in not_found_json(as_found)
        ],
        "devices": [
            _device_json(name, rooms.get(name), entry)
            for name, entry in as_found.devices.items()
            if isinstance(entry, Found)
        ],
    }


def _device_json(name: str, room: str | None, entry: Found) -> Json:
    state = entry.state
    return {
        "device": name,
        "room": room,
        "at": entry.at,
        "serial": state.identity.serial,
        "model": state.identity.model,
        "firmware": state.identity.firmware,
        "response_s": entry.response_s,
        "unsaved": state.unsaved,
        "interfaces": [
            {
                "interface": interface,
                "address": found.address,
                "prefix": found.prefix,
                "gateway": found.gateway,
            }
            for interface, found in state.interfaces.items()
        ],
        "sources": [
            {
                "source": source,
                "number": found.number,
                "groups": list(found.groups),
                "label": found.label,
                "enabled": found.enabled,
            }
            for source, found in state.sources.items()
        ],
        "destinations": [
            {"destination": destination, "listens_to": found.hears, "label": found.label}
            for destination, found in state.destinations.items()
        ],
        "settings": dict(state.settings),
    }
