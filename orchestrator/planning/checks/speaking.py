"""How a device is spoken to: each way that the plan names for it has something to do.

Of several ways, each part of a device (its interfaces, sources, destinations, settings) is the
first's that can write it; where none can, the first's that can read it.
"""

from collections.abc import Mapping

from orchestrator.facility.description import Description
from orchestrator.facility.plan import Device, Plan, Reach
from orchestrator.facility.step import StepKind
from orchestrator.planning.checks.common import PLAN, Path, Report

NMOS, RESTCONF = "nmos", "restconf"
PARTS = ("interfaces", "sources", "destinations", "settings")
_SOURCES = frozenset({StepKind.DISABLE, StepKind.ENABLE, StepKind.RENUMBER})
Known = tuple[frozenset[str], frozenset[str]]
_BUILT_IN: Mapping[str, Known] = {
    NMOS: (frozenset(PARTS[:3]), frozenset({"sources", "destinations"})),
    RESTCONF: (frozenset({"interfaces"}), frozenset({"interfaces"})),
}
"""The parts that each way reads, and those that it writes."""


def check_speaking(plan: Plan, descriptions: Mapping[str, Description], report: Report) -> None:
    """Check how each device is spoken to. Nothing is said of a plug-in, which may do anything."""
    for device in plan.devices.values():
        path: Path = ("devices", device.name)
        _options(device, descriptions, path, report)
        if len(set(device.speaks)) < len(device.speaks):
            what = f"{device.name} is to speak one way twice ({', '.join(device.speaks)})"
            report.add((PLAN, (*path, "speaks")), what, "name each way once")
        known = [_known(name, descriptions) for name in device.speaks]
        every = [each for each in known if each is not None]
        if every and len(every) == len(known):
            _idle(device, every, path, report)
            _streams(device, every, path, report)


def _known(name: str, descriptions: Mapping[str, Description]) -> Known | None:
    if name not in descriptions:
        return _BUILT_IN.get(name)
    held = descriptions[name]
    writes = {
        "interfaces": StepKind.READDRESS in held.writes,
        "sources": bool(_SOURCES & held.writes.keys()),
        "destinations": StepKind.REPOINT in held.writes,
        "settings": bool(held.setting_writes),
    }
    reads = {*held.reads, *(["settings"] if held.settings else [])} & set(PARTS)
    return frozenset(reads), frozenset(part for part in reads if writes[part])


def _idle(device: Device, every: list[Known], path: Path, report: Report) -> None:
    used = set()
    for part in PARTS:
        writing = [index for index, (_, writes) in enumerate(every) if part in writes]
        reading = [index for index, (reads, _) in enumerate(every) if part in reads]
        used.update((writing or reading)[:1])
    for index, name in enumerate(device.speaks):
        if index not in used and len(every) > 1:
            others = " and ".join(other for other in device.speaks if other != name)
            what = f"{device.name}: {name} has nothing to do beside {others}"
            fix = f"remove {name}, or put it first if its way is to be used"
            report.add((PLAN, (*path, "speaks", index)), what, fix)


def _streams(device: Device, every: list[Known], path: Path, report: Report) -> None:
    told = frozenset[str]().union(*(reads for reads, _ in every))
    for part in ("sources", "destinations"):
        if getattr(device, part) and part not in told:
            ways = " and ".join(device.speaks)
            what = f"{device.name} has {part} in the plan, and {ways} can't tell of them"
            fix = "name the way in which its streams are spoken to beside it, as in "
            report.add((PLAN, (*path, part)), what, fix + "speaks: [nmos, restconf]")


def _options(
    device: Device, descriptions: Mapping[str, Description], path: Path, report: Report
) -> None:
    """What is said of a way that the device does not speak is a misunderstanding."""
    built_in = {name for name in device.speaks if name not in descriptions}
    if device.restconf != Reach() and RESTCONF not in built_in:
        what = f"{device.name} has a 'restconf', and does not speak it"
        fix = "add restconf to its 'speaks', or remove it"
        report.add((PLAN, (*path, "restconf")), what, fix)
    described = bool(device.speaks) and not built_in
    for name, said in (("port", device.port is not None), ("scheme", device.scheme != "http")):
        if said and (described or built_in == {RESTCONF}):
            where = "in its device description" if described else "under 'restconf'"
            what = f"{device.name} has a '{name}', which is that of its NMOS Node API, and speaks "
            what += "no NMOS"
            report.add((PLAN, (*path, name)), what, f"remove it; the {name} is given {where}")
