"""Hazards of a sequence that is otherwise in order: what is on air, off limits, elsewhere."""

from collections.abc import Iterator, Mapping

from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import Ref
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Effect
from orchestrator.planning.aims.listeners import Hearing, Listener
from orchestrator.planning.capable import incapable
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.scene import Scene
from orchestrator.planning.silence import on_air_sources

# Looked up once: each is asked of every step.
_SET, _REPOINT = StepKind.SET, StepKind.REPOINT
_TAKES = frozenset({StepKind.RENUMBER, StepKind.READDRESS, StepKind.REPOINT, StepKind.ENABLE})


def dangers(
    scene: Scene, wanted: Mapping[str, DeviceState], graph: Graph, heard: Hearing
) -> Iterator[Hazard]:
    """Every hazard of the steps themselves, not yet accepted."""
    yield from _off_limits(scene, graph)
    yield from _on_air(scene, graph, heard)
    yield from _elsewhere(scene, graph, heard)
    yield from _dangling(wanted, heard)
    yield from _unseen_listeners(scene, wanted)
    yield from _losing(scene, wanted, heard)
    yield from incapable(scene, graph)
    yield from _settings(scene, graph)
    yield from _unsaved(scene, graph)
    yield from identities(scene, {draft.device for draft in graph.drafts})


def _off_limits(scene: Scene, graph: Graph) -> Iterator[Hazard]:
    for name in dict.fromkeys(draft.device for draft in graph.drafts):
        reason = scene.plan.devices[name].off_limits
        if reason is None or scene.released(name):
            continue
        yield Hazard(
            name=f"off-limits:{name}",
            rule="H6",
            grade=Grade.STOPS,
            what=f"{name} is off limits: {reason}",
            where=(name,),
            fix="leave it out; or get a written release from whoever is responsible, and enter "
            "it in the playbook (releases: what, by, reference, until)",
        )


def _on_air(scene: Scene, graph: Graph, heard: Hearing) -> Iterator[Hazard]:
    sources = on_air_sources(scene, heard)
    destinations = set(scene.plan.on_air)
    concerned = {ref.device for ref in (*sources, *destinations)}
    said: set[str] = set()
    for draft in graph.drafts:
        if draft.device not in concerned:
            continue
        for ref in _disturbed(scene, draft):
            on_air = ref in sources or ref in destinations
            if not on_air or str(ref) in said or scene.released(ref.device, ref.name):
                continue
            said.add(str(ref))
            yield Hazard(
                name=f"on-air:{ref}",
                rule="H6",
                grade=Grade.STOPS,
                what=f"{ref} is on air, and the change would interrupt it "
                f"({draft.kind} of {draft.device})",
                where=(str(ref),),
                fix="take it off the on-air path first; or get the licensee's written release "
                "and enter it in the playbook (releases)",
            )


def _unsaved(scene: Scene, graph: Graph) -> Iterator[Hazard]:
    """Devices that may boot with something else than was read: any number, any pointer."""
    if not scene.unsaved:
        return
    changed = {draft.device for draft in graph.drafts}
    takers = {draft.device for draft in graph.drafts if draft.kind in _TAKES}
    for name in sorted(scene.unsaved):
        if name in changed:
            then = "this change saves them for good"
        elif takers:
            then = "a power cycle may put it onto what this change gives to another"
        else:
            continue
        yield Hazard(
            name=f"unsaved:{name}",
            rule="H9",
            grade=Grade.NEEDS_NAME,
            what=f"{name} runs on settings that it would not boot with, and what it would boot "
            f"with was not read; {then}",
            where=(name,),
            fix="find out who set them; then accept it by name, or have it saved, or started "
            "anew, on the device itself, and survey again",
        )


def _effect(scene: Scene, draft: Draft) -> Effect:
    """What a step does beside what it sets; nothing, if it is no setting of a device."""
    if draft.kind is not StepKind.SET or draft.source is not None:
        return Effect.NONE
    return scene.traits[draft.device].effects.get(draft.setting or "", Effect.NONE)


def _disturbed(scene: Scene, draft: Draft) -> Iterator[Ref]:
    if draft.kind is StepKind.DISABLE and draft.source:
        yield Ref(draft.device, draft.source)
    elif draft.kind is StepKind.REPOINT and draft.destination:
        yield Ref(draft.device, draft.destination)
    elif draft.kind is StepKind.READDRESS or _effect(scene, draft) is not Effect.NONE:
        state = scene.states[draft.device]
        for name in (*state.sources, *state.destinations):
            yield Ref(draft.device, name)


def _elsewhere(scene: Scene, graph: Graph, heard: Hearing) -> Iterator[Hazard]:
    """Listeners outside the chosen rooms, which must follow all the same."""
    for draft in graph.drafts:
        if draft.kind is not _REPOINT:
            continue
        room = scene.plan.devices[draft.device].room
        if room in scene.rooms:
            continue
        ref = Ref(draft.device, draft.destination or "")
        listener = heard.listeners[ref]
        yield Hazard(
            name=f"listener:{ref}",
            rule="H6",
            grade=Grade.NEEDS_NAME,
            what=f"{ref} in {room}, which is not among the chosen rooms, listens to "
            f"{listener.after}, and has to be pointed from {listener.found} to {listener.wanted}",
            where=(str(ref), str(listener.after)),
            fix=f"tell whoever works in {room}, and accept it by name; or choose {room} too",
        )


def _dangling(wanted: Mapping[str, DeviceState], heard: Hearing) -> Iterator[Hazard]:
    """A destination left pointing at a number that somebody else will hold."""
    for listener in heard.listeners.values():
        for source in heard.then.heard(heard.networks[listener.ref.device], listener.wanted):
            if source == listener.after or source in listener.before:
                continue
            enabled = wanted[source.device].sources[source.name].enabled
            yield _dangling_hazard(listener, source, enabled=enabled)


def _dangling_hazard(listener: Listener, source: Ref, *, enabled: bool) -> Hazard:
    ref = listener.ref
    before = " or ".join(map(str, listener.before)) or "nobody"
    state = "would hear it at once" if enabled else "would hear it as soon as it is enabled"
    return Hazard(
        name=f"dangling:{ref}",
        rule="H8",
        grade=Grade.STOPS if enabled else Grade.INFORMATION,
        what=f"{ref} points at {listener.wanted} and heard {before} there; {source} is to hold "
        f"that, so {ref} {state}",
        where=(str(ref), str(source)),
        fix=f"say in a playbook what {ref} is to listen to",
    )


def _unseen_listeners(scene: Scene, wanted: Mapping[str, DeviceState]) -> Iterator[Hazard]:
    """Listeners that the plan knows of, on devices that did not answer."""
    for name, device in scene.plan.devices.items():
        if name in scene.states:
            continue
        for destination in device.destinations.values():
            wish = destination.listens_to
            source = wish.source if wish is not None else None
            now = scene.states.get(source.device) if source is not None else None
            if source is None or now is None or source.name not in now.sources:
                continue
            then = wanted[source.device].sources[source.name]
            if then.number == now.sources[source.name].number:
                continue
            yield Hazard(
                name=f"listener:{name}/{destination.name}",
                rule="H8",
                grade=Grade.NEEDS_NAME,
                what=f"by the plan {name}/{destination.name} listens to {source}, which moves; "
                f"{name} was not found, so it can't be pointed at {then.number}",
                where=(f"{name}/{destination.name}", str(source)),
                fix=f"get {name} to answer; or accept by name that it is pointed by hand, before "
                "its old number is used again",
            )


def _losing(scene: Scene, wanted: Mapping[str, DeviceState], heard: Hearing) -> Iterator[Hazard]:
    """Sources switched off for good, or taken out of the facility, that somebody listens to."""
    for source, gone in _going_off(scene, wanted, heard):
        refs = heard.by_source.get(source, ())
        losers = [ref for ref in refs if heard.listeners[ref].after in {source, None}]
        if losers:
            yield Hazard(
                name=f"losing:{source}",
                rule="H8",
                grade=Grade.INFORMATION,
                what=f"{source} {_how_lost(source, gone=gone)}; "
                f"{', '.join(map(str, losers))} will hear nothing",
                where=(str(source), *map(str, losers)),
                fix="point the listeners elsewhere in a playbook, if they are to hear something",
            )


def _going_off(
    scene: Scene, wanted: Mapping[str, DeviceState], heard: Hearing
) -> Iterator[tuple[Ref, bool]]:
    """The sources that are on now and will be off, or gone from the facility, and whether gone."""
    for device, then in wanted.items():
        now = scene.states[device]
        gone = any(scene.networks_now[device]) and not any(heard.networks[device])
        if then is now and not gone:
            continue
        for name, source in now.sources.items():
            if source.enabled and (gone or not then.sources[name].enabled):
                yield Ref(device, name), gone


def _how_lost(source: Ref, *, gone: bool) -> str:
    return f"goes with {source.device} to the bench" if gone else "is switched off for good"


def _settings(scene: Scene, graph: Graph) -> Iterator[Hazard]:
    for draft in graph.drafts:
        if draft.kind is not _SET:
            continue
        effect = _effect(scene, draft)
        if effect is Effect.PLANT_WIDE:
            yield Hazard(
                name=f"plant-wide:{draft.device}:{draft.setting}",
                rule="settings",
                grade=Grade.NEEDS_NAME,
                what=f"{draft.setting} of {draft.device} goes from {draft.as_found} to "
                f"{draft.wanted}; that can disturb every device on the network",
                where=(draft.device,),
                fix="ask whoever looks after the clock and the plant, then accept it by name",
            )
        elif effect is not Effect.NONE:
            yield Hazard(
                name=f"effect:{draft.device}:{draft.setting}",
                rule="settings",
                grade=Grade.INFORMATION,
                what=f"{draft.setting} of {draft.device} {effect}: its sources are off meanwhile",
                where=(draft.device,),
            )


def identities(scene: Scene, touched: set[str]) -> Iterator[Hazard]:
    """Devices that can't be proved to be the ones meant, or that were never tried (H7)."""
    for name in sorted(touched):
        identity: Identity = scene.states[name].identity
        if scene.plan.devices[name].serial is None:
            yield Hazard(
                name=f"serial:{name}",
                rule="H7",
                grade=Grade.NEEDS_NAME,
                what=f"the plan has no serial for {name}; {identity} answers there",
                where=(name,),
                fix=f"read the label on the unit; write serial: {identity.serial} into the plan, "
                "or accept it by name",
            )
        traits = scene.traits[name]
        if not traits.tried(identity.firmware):
            yield Hazard(
                name=f"firmware:{name}",
                rule="H7",
                grade=Grade.STOPS,
                what=f"{name} runs firmware {identity.firmware}; its device description was "
                f"tried with {', '.join(traits.tried_with)} only, so it is read but not written",
                where=(name,),
                fix="try the description on a spare unit of that firmware and add it to tried_with",
            )


def with_acceptances(hazards: list[Hazard], accepted: Mapping[str, str]) -> tuple[Hazard, ...]:
    """Put the reasons of those who accepted a hazard by name into it; what blocks comes first."""
    grades = list(Grade)
    done = [
        Hazard(
            name=hazard.name,
            rule=hazard.rule,
            grade=hazard.grade,
            what=hazard.what,
            where=hazard.where,
            fix=hazard.fix,
            accepted=accepted.get(hazard.name) if hazard.grade is Grade.NEEDS_NAME else None,
        )
        for hazard in dict.fromkeys(hazards)
    ]
    return tuple(sorted(done, key=lambda h: (not h.blocks, grades.index(h.grade), h.name)))
