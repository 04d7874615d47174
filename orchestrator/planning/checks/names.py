"""Names: whatever a document names exists."""

from collections.abc import Collection, Mapping

from orchestrator.facility.description import Description
from orchestrator.facility.plan import Device, ListensTo, Plan, Ref
from orchestrator.facility.wanted import Playbook
from orchestrator.planning.checks.common import PLAN, Path, Report


def check_names(plan: Plan, wanted: Plan, ways: Collection[str], report: Report) -> None:
    """Check what the plan names; ``wanted`` is the plan with the playbooks laid over it.

    ``ways`` are all names that ``speaks`` may have.
    """
    for room in plan.rooms.values():
        if room.network not in plan.networks:
            fix = report.nearest(room.network, plan.networks, "declare it under 'networks'")
            where = (PLAN, ("rooms", room.name, "network"))
            report.add(where, f"room {room.name}: there is no network '{room.network}'", fix)
    for index, ref in enumerate(plan.on_air):
        _target(wanted, ref, "destinations", (PLAN, ("on_air", index)), report)
    for device in plan.devices.values():
        _device(plan, device, ways, report)
        path: Path = ("devices", device.name, "destinations")
        for name, destination in device.destinations.items():
            place = (PLAN, (*path, name, "listens_to"))
            _hears(wanted, destination.listens_to, place, report)
    _serials(plan, report)


def check_asked_names(
    plan: Plan,
    wanted: Plan,
    playbook: Playbook,
    descriptions: Mapping[str, Description],
    report: Report,
) -> None:
    """Check what a playbook names."""
    for name, asked in playbook.devices.items():
        path: Path = ("devices", name)
        device = plan.devices.get(name)
        if device is None:
            fix = report.nearest(name, plan.devices, "add the device to the plan first")
            report.add((playbook.file, path), f"the plan has no device '{name}'", fix)
            continue
        interfaces = {interface.name for interface in device.interfaces}
        for interface in asked.addresses:
            if interfaces and interface not in interfaces:
                fix = report.nearest(interface, interfaces, f"it has {', '.join(interfaces)}")
                what = f"{name} has no interface '{interface}'"
                report.add((playbook.file, (*path, "interfaces", interface)), what, fix)
        for key, destination in asked.destinations.items():
            where = (playbook.file, (*path, "destinations", key, "listens_to"))
            _hears(wanted, destination.listens_to, where, report)
        _settings(device, asked.settings, descriptions, (playbook.file, path), report)
    for index, release in enumerate(playbook.releases):
        name = release.what.partition("/")[0]
        if name not in plan.devices:
            fix = report.nearest(name, plan.devices, "name a device of the plan")
            where = (playbook.file, ("releases", index, "what"))
            report.add(where, f"a release names '{name}', which the plan does not have", fix)


def _device(plan: Plan, device: Device, ways: Collection[str], report: Report) -> None:
    path: Path = ("devices", device.name)
    room = plan.rooms.get(device.room)
    if room is None:
        fix = report.nearest(device.room, plan.rooms, "declare it under 'rooms'")
        what = f"{device.name}: there is no room '{device.room}'"
        report.add((PLAN, (*path, "room")), what, fix)
    for interface in device.interfaces:
        name = interface.network
        # An unknown room, or a room's unknown network, is told where it stands.
        if name and name not in plan.networks and (room is None or room.network != name):
            fix = report.nearest(name, plan.networks, "declare it under 'networks'")
            where = (PLAN, (*path, "interfaces", interface.name, "network"))
            report.add(where, f"{device.name}: there is no network '{name}'", fix)
    for index, way in enumerate(device.speaks):
        if way not in ways:
            otherwise = f"write devices/{way}.yaml, or correct the name"
            what = f"there is no device description '{way}' (for {device.name})"
            where = (PLAN, (*path, "speaks", index))
            # One missing description is one fault, however many devices speak by it.
            key = ("description", way)
            report.add(where, what, report.nearest(way, ways, otherwise), key)
    if device.speaks and not device.interfaces:
        what = f"{device.name} speaks {device.speaks[0]}, but has no address to be spoken to at"
        report.add((PLAN, path), what, "give it an 'address', or remove 'speaks'")


def _hears(wanted: Plan, hears: ListensTo | None, where: tuple[str, Path], report: Report) -> None:
    """What is listened to exists, if it is a source. A number that nobody holds is no error."""
    if hears is not None and hears.source is not None:
        _target(wanted, hears.source, "sources", where, report)


def _target(wanted: Plan, ref: Ref, kind: str, where: tuple[str, Path], report: Report) -> None:
    """``ref`` is a declared source or destination.

    A device that the tool speaks to and that declares none at all has them under its own names.
    """
    device = wanted.devices.get(ref.device)
    if device is None:
        fix = report.nearest(ref.device, wanted.devices, "name a device of the plan")
        report.add(where, f"{ref}: the plan has no device '{ref.device}'", fix)
        return
    declared: Mapping[str, object] = getattr(device, kind)
    if ref.name in declared or (not declared and device.speaks):
        return
    one = kind.removesuffix("s")
    otherwise = f"declare it under {ref.device}'s '{kind}'"
    fix = report.nearest(ref.name, declared, otherwise)
    report.add(where, f"{ref.device} has no {one} '{ref.name}'", fix, key=(ref, kind, where))


def _settings(
    device: Device,
    settings: Collection[str],
    descriptions: Mapping[str, Description],
    where: tuple[str, Path],
    report: Report,
) -> None:
    """A setting stands in a description of the device, if descriptions are all it speaks by."""
    if not device.speaks or not all(way in descriptions for way in device.speaks):
        return
    known = {name for way in device.speaks for name in descriptions[way].settings}
    for name in settings:
        if name not in known:
            what = f"the device description of {device.name} has no setting '{name}'"
            fix = report.nearest(name, known, "correct the name, or describe the setting")
            report.add((where[0], (*where[1], "settings", name)), what, fix)


def _serials(plan: Plan, report: Report) -> None:
    holders: dict[str, str] = {}
    for device in plan.devices.values():
        if device.serial is None:
            continue
        other = holders.setdefault(device.serial, device.name)
        if other != device.name:
            what = f"serial {device.serial} stands twice: for {other} and for {device.name}"
            where = (PLAN, ("devices", device.name, "serial"))
            report.add(where, what, "read the serial off the unit and correct one of them")
