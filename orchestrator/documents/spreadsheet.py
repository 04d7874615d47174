"""The plan as a table, and a table of wishes as a playbook.

One row a device (its address), a source (number, label, enabled) or a destination (what it listens
to). An empty cell says nothing. What a table says otherwise than the plan is what is wanted.
"""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from ipaddress import AddressValueError, IPv4Address
from typing import Any

from orchestrator.documents.table_file import Row
from orchestrator.errors import DocumentError, Problem
from orchestrator.facility.plan import Device, Plan

COLUMNS = (
    "device",
    "room",
    "address",
    "source",
    "destination",
    "number",
    "label",
    "enabled",
    "listens to",
)
_SWITCH = {"yes": True, "no": False, "true": True, "false": False}
_PLAIN_KEY = re.compile(r"[a-z][a-z0-9-]*")
_WORDS = ("auto", "unassigned")
_OF_A_SOURCE = ("number", "label", "enabled")


@dataclass
class Wishes:
    """What is wanted, by device; each entry as a playbook has it."""

    devices: dict[str, dict[str, Any]] = field(default_factory=dict)

    def text(self, title: str, origin: str) -> str:
        """The playbook as YAML; every text in it is quoted, so that none is read as a figure."""
        lines = [f"# Made of {origin}.", f"playbook: {json.dumps(title, ensure_ascii=False)}"]
        lines.append("devices:" if self.devices else "devices: {}")
        for name, asked in self.devices.items():
            lines.append(f"  {_key(name)}:")
            if "address" in asked:
                lines.append(f"    address: {asked['address']}")
            for kind in ("sources", "destinations"):
                if kind in asked:
                    lines.append(f"    {kind}:")
                    lines += [f"      {_key(n)}: {_flow(w)}" for n, w in asked[kind].items()]
        return "\n".join(lines) + "\n"


def rows_of(plan: Plan) -> Iterator[tuple[str, ...]]:
    """The plan as rows, in its own order; cells in the order of ``COLUMNS``."""
    for device in plan.devices.values():
        yield _row(device, address=device.address)
        for name, source in device.sources.items():
            yield _row(
                device,
                source=name,
                number="" if source.number is None else str(source.number),
                label=source.label or "",
                enabled="" if source.enabled is None else "yes" if source.enabled else "no",
            )
        for name, destination in device.destinations.items():
            hears = destination.listens_to
            yield _row(
                device, destination=name, **{"listens to": "" if hears is None else str(hears)}
            )


def _row(device: Device, **cells: str) -> tuple[str, ...]:
    known = {"device": device.name, "room": device.room, **cells}
    return tuple(known.get(column, "") for column in COLUMNS)


def playbook_of(plan: Plan, head: tuple[str, ...], rows: tuple[Row, ...], file: str) -> Wishes:
    """What the rows of the table in ``file`` want otherwise than ``plan`` has it.

    Raises:
        DocumentError: with everything that is wrong in the table, each at its line.
    """
    reader = _Reader(plan, file)
    reader.head(head)
    for row in rows:
        reader.row(row)
    if reader.problems:
        raise DocumentError(reader.problems)
    return reader.wishes


def _key(name: str) -> str:
    return name if _PLAIN_KEY.fullmatch(name) else json.dumps(name, ensure_ascii=False)


def _flow(wish: Mapping[str, Any]) -> str:
    parts = (f"{key}: {json.dumps(value, ensure_ascii=False)}" for key, value in wish.items())
    return "{" + ", ".join(parts) + "}"


class _Reader:
    """Reads rows against the plan, and keeps what is wrong with them."""

    def __init__(self, plan: Plan, file: str) -> None:
        self.plan = plan
        self.file = file
        self.problems: list[Problem] = []
        self.wishes = Wishes()
        self._seen: dict[tuple[str, str, str], int] = {}

    def head(self, head: tuple[str, ...]) -> None:
        """Every column is known, and the device's is there."""
        for name in head:
            if name not in COLUMNS:
                self._wrong(1, f"there is no column {name}", _nearest(name, COLUMNS))
        if "device" not in head:
            self._wrong(1, "there is no column device", "add one, with the names of the plan")

    def row(self, row: Row) -> None:
        """Take one row's wishes."""
        cell = {name: text for name, text in row.cells.items() if text}
        device = self.plan.devices.get(cell.get("device", ""))
        if device is None:
            name = cell.get("device", "")
            fix = _nearest(name, self.plan.devices)
            self._wrong(row.line, f"the plan has no device {name}" if name else "no device", fix)
            return
        if cell.get("room", device.room) != device.room:
            fix = f"write {device.room}; a device's room is changed in plan.yaml"
            self._wrong(row.line, f"{device.name} is in {device.room}", fix)
        if "source" in cell and "destination" in cell:
            self._wrong(row.line, "a source and a destination in one row", "make two rows of it")
        elif self._once(row.line, device.name, cell):
            self._wish(row.line, device, cell)

    def _once(self, line: int, device: str, cell: Mapping[str, str]) -> bool:
        subject = (device, cell.get("source", ""), cell.get("destination", ""))
        first = self._seen.setdefault(subject, line)
        if first != line:
            name = "/".join(part for part in subject if part)
            self._wrong(line, f"{name} stands in line {first} already", "keep one of them")
        return first == line

    def _wish(self, line: int, device: Device, cell: Mapping[str, str]) -> None:
        kind = "sources" if "source" in cell else "destinations"
        name = cell.get("source") or cell.get("destination")
        allowed = {"device", "room", "source", "destination"}
        if name is None:
            self._put(device.name, self._address(line, device, cell))
            allowed |= {"address"}
        elif kind == "sources":
            self._known(line, device.name, name, tuple(device.sources))
            self._put(device.name, {kind: {name: self._source(line, device, name, cell)}})
            allowed |= {"address", *_OF_A_SOURCE}
        else:
            self._known(line, device.name, name, tuple(device.destinations))
            self._put(device.name, {kind: {name: self._destination(device, name, cell)}})
            allowed |= {"address", "listens to"}
        for column in cell.keys() - allowed:
            what = f"{column} does not belong to a row of {'a device' if name is None else name}"
            self._wrong(line, what, "empty the cell, or name what it is about")

    def _put(self, device: str, wish: dict[str, Any]) -> None:
        for kind, value in wish.items():
            if kind == "address":
                self.wishes.devices.setdefault(device, {})[kind] = value
                continue
            for name, asked in value.items():
                if asked:
                    there = self.wishes.devices.setdefault(device, {}).setdefault(kind, {})
                    there[name] = asked

    def _address(self, line: int, device: Device, cell: Mapping[str, str]) -> dict[str, Any]:
        wanted = cell.get("address", device.address)
        try:
            IPv4Address(wanted)
        except AddressValueError:
            self._wrong(line, f"{wanted} is no address", "write it like 192.0.2.31")
        return {} if wanted == device.address else {"address": wanted}

    def _source(
        self, line: int, device: Device, name: str, cell: Mapping[str, str]
    ) -> dict[str, Any]:
        planned = device.sources.get(name)
        asked: dict[str, Any] = {}
        number = cell.get("number")
        if number is not None and not (number.isdecimal() or number in _WORDS):
            self._wrong(
                line, f"{number} is no channel number", "write a figure, auto or unassigned"
            )
        elif number is not None:
            asked["number"] = int(number) if number.isdecimal() else number
        if "label" in cell:
            asked["label"] = cell["label"]
        switch = cell.get("enabled", "").lower()
        if switch and switch not in _SWITCH:
            self._wrong(line, f"enabled is {switch}", "write yes or no")
        elif switch:
            asked["enabled"] = _SWITCH[switch]
        if planned is None:
            return asked
        return {key: value for key, value in asked.items() if value != getattr(planned, key)}

    def _destination(self, device: Device, name: str, cell: Mapping[str, str]) -> dict[str, Any]:
        wanted = cell.get("listens to")
        planned = device.destinations.get(name)
        if wanted is None or (planned is not None and str(planned.listens_to) == wanted):
            return {}
        return {"listens_to": int(wanted) if wanted.isdecimal() else wanted}

    def _known(self, line: int, device: str, name: str, known: tuple[str, ...]) -> None:
        # A unit whose sources the plan does not list yet may be asked for any.
        if known and name not in known:
            self._wrong(line, f"the plan has no {device}/{name}", _nearest(name, known))

    def _wrong(self, line: int, what: str, fix: str) -> None:
        self.problems.append(Problem(self.file, line, 0, what, fix))


def _nearest(word: str, known: tuple[str, ...] | Mapping[str, object]) -> str:
    close = get_close_matches(word, list(known), n=1)
    return f"write {close[0]}" if close else f"write one of these: {', '.join(list(known)[:12])}"
