"""The course of a change: what is done, in which order, and at what risk; not yet proved.

What one stage makes is let go of when the next ones no longer ask for it: for thousands of devices
that is most of what planning holds.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from orchestrator.facility.change import Change
from orchestrator.facility.found import DeviceState
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Phase, Step
from orchestrator.planning.aims.changes import changes
from orchestrator.planning.aims.holders import Holders, holders
from orchestrator.planning.aims.listeners import Hearing, listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.dangers import dangers
from orchestrator.planning.ordering.build import build
from orchestrator.planning.ordering.drafts import Graph
from orchestrator.planning.ordering.finish import (
    START,
    First,
    add_final_saves,
    add_first_saves,
    steps_of,
)
from orchestrator.planning.ordering.lending import Cost, break_cycles
from orchestrator.planning.ordering.moves import Move, link, moves, own_doubles
from orchestrator.planning.ordering.phases import phases
from orchestrator.planning.ordering.timing import estimate_all
from orchestrator.planning.result import Listeners, Silence
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduled import scheduled
from orchestrator.planning.scheduling.making import WORK
from orchestrator.planning.silence import (
    Span,
    listener_lists,
    on_air_sources,
    silences,
    spans,
)
from orchestrator.planning.things import thing_words, things_of


@dataclass(slots=True, kw_only=True)
class Course:
    """What is to be done, how, and at what risk; ``steps`` is None where there is no way.

    ``seconds`` is how long it takes, and no order of the same steps takes less than
    ``bound_seconds``. ``tries``: how often the search for less silence tried another order;
    ``whole``: as often as it would. ``least``: with fewer ``lent`` there is no way. ``batches``:
    how many requests carry more than one step.
    """

    changes: tuple[Change, ...]
    hazards: list[Hazard]
    lent: Mapping[str, str]
    mended: Mapping[str, tuple[str, ...]]
    least: bool
    steps: tuple[Step, ...] | None = None
    phases: tuple[Phase, ...] = ()
    silence: tuple[Silence, ...] = ()
    listeners: tuple[Listeners, ...] = ()
    seconds: float = 0.0
    bound_seconds: float = 0.0
    tries: int = 0
    whole: bool = True
    batches: int = 0


def course(scene: Scene, first: First = START, work: int = WORK) -> Course:
    """Work out a course; its numbers begin with ``first``, and ``work`` bounds the search."""
    aims = targets(scene)
    heard = listeners(scene, aims.states)
    wanted, held = heard.states, holders(scene)
    found = moves(scene, wanted)
    blocked = [*link(found, held, scene), *own_doubles(scene, wanted)]
    found, unbroken, least = break_cycles(found, held, scene, _cost(scene, heard))
    told = Course(
        changes=changes(scene, wanted),
        hazards=[*aims.hazards, *heard.hazards, *blocked, *unbroken],
        lent={move.subject: str(move.wanted) for move in found if move.lent == "out"},
        mended=mended(scene, wanted, held),
        least=least,
    )
    if blocked or unbroken:
        # What can't be reached has no sequence; hazards of a made-up one would only confuse.
        return told
    graph = build(scene, wanted, found, heard)
    del aims, found
    quiet = _in_phases(scene, graph, told, heard)
    dangerous = list(dangers(scene, wanted, graph, heard))
    told.listeners = listener_lists(scene, graph, heard)
    del heard, wanted, held
    try:
        _in_order(scene, graph, told, quiet, first, work)
    except ValueError as error:
        told.hazards.append(_circle(error))
        return told
    told.hazards += dangerous
    return told


def _in_phases(scene: Scene, graph: Graph, told: Course, heard: Hearing) -> list[Span]:
    """Give every step its phase, add the saves of each, and give the silences to come."""
    estimate_all(scene, graph.drafts)
    estimated = len(graph.drafts)
    told.phases, disagreement = phases(graph, scene.phases, scene.accepted)
    told.hazards += disagreement
    add_final_saves(scene, graph)
    add_first_saves(scene, graph)
    estimate_all(scene, graph.drafts[estimated:])
    return spans(scene, graph, heard)


def _in_order(  # noqa: PLR0917 - all that is left to say
    scene: Scene, graph: Graph, told: Course, quiet: list[Span], first: First, work: int
) -> None:
    """Add the steps as they are done, and what comes of that."""
    done = scheduled(scene, graph, quiet, work)
    made = done.made
    told.seconds, told.bound_seconds = max(made.end, default=0) / 1000, done.shortest / 1000
    told.tries, told.whole, told.batches = made.tries, made.whole, len(done.groups)
    told.silence = silences(scene, quiet, made, done.bounds)
    told.steps = steps_of(graph, made, done.groups, first)


def _cost(scene: Scene, heard: Hearing) -> Cost:
    on_air = on_air_sources(scene, heard)

    def cost(move: Move) -> tuple[int, ...]:
        """What lending this move costs: on-air silence first, then listeners, then writes."""
        state = scene.states[move.device]
        names = [move.source] if move.source is not None else list(state.sources)
        audible = [Ref(move.device, name) for name in names if state.sources[name].enabled]
        weight = sum(1 + len(heard.by_source.get(ref, ())) for ref in audible)
        saves = int(scene.traits[move.device].saves == "on_save")
        return (sum(ref in on_air for ref in audible), weight, saves)

    return cost


def _circle(error: ValueError) -> Hazard:
    return Hazard(
        name="circle",
        rule="sequence",
        grade=Grade.STOPS,
        what=f"no single run can do all of this: {error}",
        fix="do it in two runs: take the readdresses, or one of the rooms, out of the playbooks",
    )


def mended(
    scene: Scene, wanted: Mapping[str, DeviceState], held: Holders
) -> dict[str, tuple[str, ...]]:
    """The duplicates that are there now and will be gone: the thing, and who held it."""
    found: dict[str, tuple[str, ...]] = {}
    for thing, names in held.shared():
        left = 0
        for name in names:
            device, _, source = name.partition("/")
            state = wanted.get(device)
            if state is None:
                left += 1
            elif source:
                left += thing in things_of(scene.networks_of(state), state.sources[source])
            else:
                left += any(i.address == thing[2] for i in state.interfaces.values())
        if left < len(names):
            found[thing_words(thing)] = names
    return found
