"""The audit: what is on that should not be, by the plan, the playbooks and the survey alone."""

from collections.abc import Iterator
from ipaddress import IPv4Address

from orchestrator.facility.found import DeviceState, Found
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import Device, Ref
from orchestrator.facility.wanted import AskedSource
from orchestrator.planning.aims.holders import holders
from orchestrator.planning.index import Index
from orchestrator.planning.scene import Scene
from orchestrator.planning.things import heard_things, thing_words


def audit(scene: Scene) -> tuple[Hazard, ...]:
    """Everything that is not as planned or as a playbook wants it; what is worst comes first.

    Devices that were not found are no findings: the survey names them.
    """
    found = [
        *_duplicates(scene),
        *_on_transit(scene),
        *_sources(scene),
        *_destinations(scene),
        *_unsaved(scene),
    ]
    grades = list(Grade)
    return tuple(sorted(found, key=lambda hazard: (grades.index(hazard.grade), hazard.name)))


def _duplicates(scene: Scene) -> Iterator[Hazard]:
    said: set[tuple[str, ...]] = set()
    for thing, names in sorted(holders(scene).shared(), key=lambda item: item[0][0] != "number"):
        key = tuple(sorted(names))
        if key in said:
            continue
        said.add(key)
        yield Hazard(
            name=f"duplicate:{thing[2]}",
            rule="H2" if thing[0] == "address" else "H1",
            grade=Grade.STOPS,
            what=f"{thing_words(thing)} is held by {' and by '.join(names)}",
            where=names,
            fix="move all but one of them to a number of their own by a playbook"
            if thing[0] != "address"
            else "find both units; pull the cable of the one that should not be there",
        )


def _on_transit(scene: Scene) -> Iterator[Hazard]:
    for thing, names in holders(scene).items():
        kind, network, value = thing
        if _is_transit(scene, kind, network, value):
            yield Hazard(
                name=f"transit:{names[0]}",
                rule="H4",
                grade=Grade.STOPS,
                what=f"{names[0]} is on transit {kind} {value}: a move was left half-way",
                where=names,
                fix="run 'cutsheet runs', and resume or undo the unfinished one",
            )


def _is_transit(scene: Scene, kind: str, network: str, value: int | str) -> bool:
    rules = scene.plan.networks[network]
    if kind == "number":
        return rules.numbering is not None and value in (rules.numbering.transit or ())
    return kind == "address" and any(IPv4Address(value) in span for span in rules.transit)


def _sources(scene: Scene) -> Iterator[Hazard]:
    for name, state in scene.states.items():
        device = scene.plan.devices[name]
        asked = scene.asked.get(name)
        for source, now in state.sources.items():
            planned = device.sources.get(source)
            wish = asked.sources.get(source) if asked is not None else None
            for setting, value in (
                ("number", now.number),
                ("enabled", now.enabled),
                ("label", now.label),
            ):
                plan_says = getattr(planned, setting) if planned is not None else None
                if plan_says is None or plan_says == value or _asked_for(wish, setting, value):
                    continue
                yield _differs(f"{name}/{source}", setting, plan_says, value)


def _asked_for(wish: AskedSource | None, setting: str, value: object) -> bool:
    """Whether a playbook wants just this, or leaves the figure to the tool."""
    if wish is None:
        return False
    asked = getattr(wish, setting)
    return bool(asked in (value, "auto"))


def _differs(subject: str, setting: str, planned: object, found: object) -> Hazard:
    words = {True: "on", False: "off"}
    shown = [words.get(v, v) if isinstance(v, bool) else v for v in (planned, found)]
    should_be_off = setting == "enabled" and found is True
    return Hazard(
        name=f"differs:{subject}:{setting}",
        rule="plan",
        grade=Grade.NEEDS_NAME if setting != "label" else Grade.INFORMATION,
        what=f"{subject}: {setting} is {shown[1]}, the plan says {shown[0]}"
        + (": it is on and should not be" if should_be_off else ""),
        where=(subject,),
        fix="put it right by a playbook, or correct the plan",
    )


def _destinations(scene: Scene) -> Iterator[Hazard]:
    index = scene.sources_now
    for name, device in scene.plan.devices.items():
        state = scene.states.get(name)
        if state is None or not any(scene.networks_now[name]):
            continue
        yield from _heard(scene, name, device, state, index)


def _heard(
    scene: Scene,
    name: str,
    device: Device,
    state: DeviceState,
    index: Index,
) -> Iterator[Hazard]:
    for destination in device.destinations.values():
        now = state.destinations.get(destination.name)
        planned = destination.listens_to
        if now is None or planned is None or planned.source is None:
            continue
        heard = {
            ref
            for thing in heard_things(scene.networks_now[name], now.hears)
            for ref in index.holders(thing)
        }
        asked = scene.asked.get(name)
        wish = asked.destinations.get(destination.name) if asked is not None else None
        wanted = wish.listens_to.source if wish is not None and wish.listens_to else None
        if planned.source in heard or (wanted is not None and wanted in heard):
            continue
        if not heard and _unread_there(scene, name, planned.source, now.hears):
            continue
        who = " and ".join(sorted(map(str, heard))) or "nobody"
        yield Hazard(
            name=f"hears:{name}/{destination.name}",
            rule="H8",
            grade=Grade.STOPS if heard else Grade.NEEDS_NAME,
            what=f"{name}/{destination.name} points at {now.hears} and hears {who}; the plan says "
            f"{planned.source}",
            where=(f"{name}/{destination.name}",),
            fix="point it at its source by a playbook, or correct the plan",
        )


def _unread_there(scene: Scene, name: str, source: Ref, hears: int | str | None) -> bool:
    """Whether a destination of ``name`` points where the plan has a source that was not read.

    So it is with a device that the tool does not speak to: nothing can be said against it.
    """
    device = scene.plan.devices.get(source.device)
    planned = device.sources.get(source.name) if device is not None else None
    if planned is None or source.device in scene.states:
        return False
    pointers: set[int | str | None] = {planned.number, *(planned.groups or ())} - {None}
    for network in scene.networks_now[name]:
        rules = scene.plan.networks[network].numbering if network is not None else None
        if rules is not None and planned.number is not None and rules.has_group(planned.number):
            pointers.add(rules.group(planned.number))
    return hears in pointers


def _unsaved(scene: Scene) -> Iterator[Hazard]:
    for name, entry in scene.found.devices.items():
        if isinstance(entry, Found) and entry.state.unsaved:
            yield Hazard(
                name=f"unsaved:{name}",
                rule="H9",
                grade=Grade.NEEDS_NAME,
                what=f"{name} runs on settings that it would not boot with",
                where=(name,),
                fix="save it on the device itself, once somebody has looked at what is unsaved",
            )
