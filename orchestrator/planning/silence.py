"""How long each source, and each known listener, will be silent, with a proved lower bound."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter

from orchestrator.facility.plan import Ref, ref_to
from orchestrator.facility.quick import quick
from orchestrator.facility.step import StepKind
from orchestrator.planning.aims.listeners import Hearing
from orchestrator.planning.ordering.drafts import Graph
from orchestrator.planning.result import Listeners, Silence
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.making import Made
from orchestrator.planning.scheduling.tasks import Silent, numbers


@quick
@dataclass(frozen=True, slots=True)
class Span:
    """One source that goes silent and comes back: its disable and enable, and who hears it."""

    ref: Ref
    off: int
    on: int
    on_air: bool
    listeners: Sequence[Ref]


def spans(scene: Scene, graph: Graph, heard: Hearing) -> list[Span]:
    """Every silence to come. What stands on a bench is not heard, and its silence is none."""
    on_air = on_air_sources(scene, heard)
    disable, enable = StepKind.DISABLE, StepKind.ENABLE
    offs: dict[Ref, int] = {}
    ons: dict[tuple[str, str], int] = {}
    for index, draft in zip(numbers(len(graph.drafts)), graph.drafts, strict=True):
        kind = draft.kind
        if kind is disable and draft.source:
            offs[ref_to(draft.device, draft.source)] = index
        elif kind is enable and draft.source:
            ons[draft.device, draft.source] = index
    networks, heard_by = scene.networks_now, heard.by_source
    return [
        Span(ref, off, ons[ref], ref in on_air, heard_by.get(ref, ()))
        for ref, off in offs.items()
        if ref in ons and any(networks[ref[0]])
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
    start, end, on_air = made.start, made.end, scene.plan.on_air
    for span, bound in zip(found, bounds, strict=True):
        seconds, least = (end[span.on] - start[span.off]) / 1000, bound / 1000
        device, name = span.ref
        told.append(
            Silence(
                device=device,
                source=name,
                seconds=seconds,
                bound_seconds=least,
                on_air=span.on_air,
            )
        )
        for listener in span.listeners:
            device, name = listener
            told.append(
                Silence(
                    device=device,
                    destination=name,
                    seconds=seconds,
                    bound_seconds=least,
                    on_air=listener in on_air,
                )
            )
    return longest_first(told)


def longest_first(silences: Iterable[Silence]) -> tuple[Silence, ...]:
    """What is on air first, then what is silent longest; what is alike, by name."""
    told = sorted(
        silences, key=lambda each: (each.device, each.source or "", each.destination or "")
    )
    # Each sort leaves what is alike as it was.
    told.sort(key=attrgetter("seconds"), reverse=True)
    told.sort(key=attrgetter("on_air"), reverse=True)
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
    disable, devices, networks = StepKind.DISABLE, scene.plan.devices, scene.networks_now
    unseen = any(name not in scene.states for name, d in devices.items() if d.speaks)
    for draft in graph.drafts:
        if draft.kind is not disable or draft.source is None or not any(networks[draft.device]):
            continue
        ref = ref_to(draft.device, draft.source)
        planned = devices[draft.device].sources.get(draft.source)
        also = planned.also_heard_by if planned is not None else ()
        sure = "unknown" if unseen else "partly" if also else "known"
        names = tuple([f"{device}/{name}" for device, name in heard.by_source.get(ref, ())])
        source = f"{draft.device}/{draft.source}"
        found.append(Listeners(source=source, destinations=names, also=also, sure=sure))
    return tuple(found)
