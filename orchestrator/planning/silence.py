"""How long each source, and each known listener, will be silent, with a proved lower bound."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from orchestrator.facility.plan import Ref
from orchestrator.facility.step import StepKind
from orchestrator.planning.aims.listeners import Hearing
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.ordering.timing import Schedule
from orchestrator.planning.result import Listeners, Silence
from orchestrator.planning.scene import Scene


def silences(scene: Scene, graph: Graph, times: Schedule, heard: Hearing) -> tuple[Silence, ...]:
    """One entry for each source that goes silent and comes back, and each of its listeners."""
    on_air = on_air_sources(scene, heard)
    by_source: dict[Ref, dict[StepKind, int]] = defaultdict(dict)
    of_device: dict[str, list[int]] = defaultdict(list)
    for index, draft in enumerate(graph.drafts):
        of_device[draft.device].append(index)
        if draft.source and draft.kind in {StepKind.DISABLE, StepKind.ENABLE}:
            by_source[Ref(draft.device, draft.source)][draft.kind] = index
    found: list[Silence] = []
    for ref, ends in by_source.items():
        if len(ends) != 2:  # noqa: PLR2004 - one that goes and does not come back is no silence
            continue
        off, on = ends[StepKind.DISABLE], ends[StepKind.ENABLE]
        if not any(scene.networks_now[ref.device]):
            continue
        seconds = times.end[on] - times.start[off]
        bound = own_chain(graph.drafts, of_device[ref.device], off, on)
        air = ref in on_air
        found.append(
            Silence(
                device=ref.device, source=ref.name, seconds=seconds, bound_seconds=bound, on_air=air
            )
        )
        found.extend(
            Silence(
                device=listener.device,
                destination=listener.name,
                seconds=seconds,
                bound_seconds=bound,
                on_air=listener in scene.plan.on_air,
            )
            for listener in heard.by_source.get(ref, ())
        )
    found.sort(
        key=lambda s: (not s.on_air, -s.seconds, s.device, s.source or "", s.destination or "")
    )
    return tuple(found)


def own_chain(drafts: Sequence[Draft], members: Iterable[int], off: int, on: int) -> float:
    """The longest chain of the device's own steps from ``off`` to ``on``, both included.

    They wait for one another, so no order makes the silence shorter than their sum.
    """
    inside = set(members)
    memo: dict[int, float] = {off: drafts[off].seconds}
    stack = [on]
    while stack:
        node = stack[-1]
        if node in memo:
            stack.pop()
            continue
        before = [b for b in drafts[node].after if b in inside]
        missing = [b for b in before if b not in memo]
        if missing:
            stack.extend(missing)
            continue
        reached = [memo[b] for b in before if memo[b] > 0]
        memo[node] = drafts[node].seconds + max(reached) if reached else 0.0
        stack.pop()
    return memo[on]


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
    unseen = any(name not in scene.states for name, d in scene.plan.devices.items() if d.speaks)
    for draft in graph.drafts:
        if draft.kind is not StepKind.DISABLE or draft.source is None:
            continue
        ref = Ref(draft.device, draft.source)
        if not any(scene.networks_now[ref.device]):
            continue
        planned = scene.plan.devices[ref.device].sources.get(ref.name)
        also = planned.also_heard_by if planned is not None else ()
        sure = "unknown" if unseen else "partly" if also else "known"
        names = tuple(str(listener) for listener in heard.by_source.get(ref, ()))
        found.append(Listeners(source=str(ref), destinations=names, also=also, sure=sure))
    return tuple(found)
