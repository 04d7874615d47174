"""How long each source, and each known listener, will be silent, with a proved lower bound."""

from collections.abc import Sequence
from dataclasses import dataclass

from orchestrator.facility.plan import Ref
from orchestrator.facility.quick import quick
from orchestrator.facility.step import StepKind
from orchestrator.planning.aims.listeners import Hearing
from orchestrator.planning.ordering.drafts import Graph
from orchestrator.planning.result import Listeners, Silence
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.making import Made
from orchestrator.planning.scheduling.tasks import Silent


@quick
@dataclass(frozen=True, slots=True)
class Span:
    """One source that goes silent and comes back: its disable and enable, and who hears it."""

    ref: Ref
    off: int
    on: int
    on_air: bool
    listeners: tuple[Ref, ...]


def spans(scene: Scene, graph: Graph, heard: Hearing) -> list[Span]:
    """Every silence to come. What stands on a bench is not heard, and its silence is none."""
    on_air = on_air_sources(scene, heard)
    disable, enable = StepKind.DISABLE, StepKind.ENABLE
    offs: dict[tuple[str, str], int] = {}
    ons: dict[tuple[str, str], int] = {}
    for index, draft in enumerate(graph.drafts):
        if draft.source and (draft.kind is disable or draft.kind is enable):
            (offs if draft.kind is disable else ons)[draft.device, draft.source] = index
    return [
        Span(ref := Ref(*name), off, ons[name], ref in on_air, heard.by_source.get(ref, ()))
        for name, off in offs.items()
        if name in ons and any(scene.networks_now[name[0]])
    ]


def weighed(found: Sequence[Span], longest: int) -> list[Silent]:
    """The silences for the schedule, which makes their weighted sum least.

    Each weighs as many as it has known listeners, one at least. What feeds an on-air destination
    weighs more than all others together could, for as long as the whole run of at most
    ``longest`` milliseconds: it comes before everything.
    """
    before_all = 1 + max(longest, 1) * sum(max(1, len(span.listeners)) for span in found)
    return [
        (span.off, span.on, max(1, len(span.listeners)) + before_all * span.on_air)
        for span in found
    ]


def silences(
    scene: Scene, found: Sequence[Span], made: Made, bounds: Sequence[int]
) -> tuple[Silence, ...]:
    """One entry for each source that goes silent and comes back, and each of its listeners."""
    told: list[Silence] = []
    for span, bound in zip(found, bounds, strict=True):
        seconds = (made.end[span.on] - made.start[span.off]) / 1000
        told.append(
            Silence(
                device=span.ref.device,
                source=span.ref.name,
                seconds=seconds,
                bound_seconds=bound / 1000,
                on_air=span.on_air,
            )
        )
        told.extend(
            Silence(
                device=listener.device,
                destination=listener.name,
                seconds=seconds,
                bound_seconds=bound / 1000,
                on_air=listener in scene.plan.on_air,
            )
            for listener in span.listeners
        )
    told.sort(
        key=lambda s: (not s.on_air, -s.seconds, s.device, s.source or "", s.destination or "")
    )
    return tuple(told)


def on_air_sources(scene: Scene, heard: Hearing) -> frozenset[Ref]:
    """Every source that feeds a destination which the plan lists as on air, as far as known."""
    feeding: set[Ref] = set()
    for destination in scene.plan.on_air:
        listener = heard.listeners.get(destination)
        if listener is not None:
            feeding.update(listener.before)
        else:
            planned = scene.plan.devices[destination.device].destinations.get(destination.name)
            wish = planned.listens_to if planned is not None else None
            if wish is not None and wish.source is not None:
                feeding.add(wish.source)
    return frozenset(feeding)


def listener_lists(scene: Scene, graph: Graph, heard: Hearing) -> tuple[Listeners, ...]:
    """Who hears each source that the run switches off, and how surely that is known."""
    found: list[Listeners] = []
    disable = StepKind.DISABLE
    unseen = any(name not in scene.states for name, d in scene.plan.devices.items() if d.speaks)
    for draft in graph.drafts:
        if draft.kind is not disable or draft.source is None:
            continue
        ref = Ref(draft.device, draft.source)
        if not any(scene.networks_now[ref.device]):
            continue
        planned = scene.plan.devices[ref.device].sources.get(ref.name)
        also = planned.also_heard_by if planned is not None else ()
        sure = "unknown" if unseen else "partly" if also else "known"
        names = tuple(map(str, heard.by_source.get(ref, ())))
        found.append(Listeners(source=str(ref), destinations=names, also=also, sure=sure))
    return tuple(found)
