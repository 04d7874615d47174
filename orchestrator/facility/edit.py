"""Edits: what a finished run made true, to be written into the plan."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import assert_never

from orchestrator.facility.plan import (
    Device,
    Interface,
    ListensTo,
    Plan,
    PlannedDestination,
    PlannedSource,
)


@dataclass(frozen=True, slots=True)
class SetAddress:
    """A device's interface now has ``address``, and stands on ``network`` (None: as before)."""

    device: str
    interface: str
    address: str
    network: str | None = None


@dataclass(frozen=True, slots=True)
class SetBlocks:
    """A device now owns the numbers of these host parts, said explicitly."""

    device: str
    blocks: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SetNumbers:
    """A device now owns these numbers beside its blocks."""

    device: str
    numbers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SetSerial:
    """The unit that is the device now has this serial."""

    device: str
    serial: str


@dataclass(frozen=True, slots=True)
class Unassigned:
    """A source holds no number and no group any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetSource:
    """What a source now is; None: as the plan says already."""

    device: str
    source: str
    number: int | Unassigned | None = None
    groups: tuple[str, ...] | None = None
    label: str | None = None
    enabled: bool | None = None


@dataclass(frozen=True, slots=True)
class SetDestination:
    """What a destination now listens to."""

    device: str
    destination: str
    listens_to: ListensTo


Edit = SetAddress | SetBlocks | SetNumbers | SetSerial | SetSource | SetDestination


def edited(plan: Plan, edits: Iterable[Edit]) -> Plan:
    """The plan with ``edits`` made, in order.

    Raises:
        KeyError: an edit names a device that the plan does not have.
    """
    devices = dict(plan.devices)
    for edit in edits:
        devices[edit.device] = _made(devices[edit.device], edit, plan)
    return replace(plan, devices=devices)


def _made(device: Device, edit: Edit, plan: Plan) -> Device:
    match edit:
        case SetAddress():
            return _readdressed(device, edit, plan)
        case SetBlocks(blocks=blocks):
            return replace(device, blocks=blocks)
        case SetNumbers(numbers=numbers):
            return replace(device, numbers=numbers)
        case SetSerial(serial=serial):
            return replace(device, serial=serial)
        case SetSource(source=name):
            planned = device.sources.get(name, PlannedSource(name=name))
            return replace(device, sources={**device.sources, name: _source(planned, edit)})
        case SetDestination(destination=name, listens_to=hears):
            found = device.destinations.get(name, PlannedDestination(name=name))
            changed = {**device.destinations, name: replace(found, listens_to=hears)}
            return replace(device, destinations=changed)
        case _:
            assert_never(edit)


def _readdressed(device: Device, edit: SetAddress, plan: Plan) -> Device:
    room = plan.rooms.get(device.room)
    usual = edit.network or (room.network if room else "")
    changed = tuple(
        Interface(item.name, edit.network or item.network, edit.address, item.slot)
        if item.name == edit.interface
        else item
        for item in device.interfaces
    )
    if edit.interface not in {item.name for item in device.interfaces}:
        changed = (*changed, Interface(edit.interface, usual, edit.address))
    return replace(device, interfaces=changed)


def _source(planned: PlannedSource, edit: SetSource) -> PlannedSource:
    number, groups = planned.number, planned.groups
    if isinstance(edit.number, Unassigned):
        number, groups = None, None
    elif edit.number is not None:
        number = edit.number
    return replace(
        planned,
        number=number,
        groups=groups if edit.groups is None else edit.groups,
        label=planned.label if edit.label is None else edit.label,
        enabled=planned.enabled if edit.enabled is None else edit.enabled,
    )
