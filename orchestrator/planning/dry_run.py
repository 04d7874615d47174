"""The dry-run: from a scene to changes, a proved sequence, hazards, silence and an estimate."""

from collections.abc import Mapping
from dataclasses import replace

from orchestrator.facility.found import DeviceState
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Phase, Sequence, Step
from orchestrator.planning.aims.changes import changes
from orchestrator.planning.aims.holders import Holders, holders
from orchestrator.planning.aims.listeners import Hearing, listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.dangers import dangers, with_acceptances
from orchestrator.planning.ordering.batches import Batches, form
from orchestrator.planning.ordering.build import build
from orchestrator.planning.ordering.drafts import Graph
from orchestrator.planning.ordering.finish import add_final_saves, add_first_saves, steps_of, tie
from orchestrator.planning.ordering.lending import Cost, break_cycles
from orchestrator.planning.ordering.loans import loans_of
from orchestrator.planning.ordering.moves import Move, link, moves, own_doubles
from orchestrator.planning.ordering.phases import phases
from orchestrator.planning.ordering.problem import lengths_of, tasks_of
from orchestrator.planning.ordering.timing import estimate_all
from orchestrator.planning.proof.case import Meant
from orchestrator.planning.proof.prove import prove
from orchestrator.planning.result import DryRun, Estimate, Search
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.bounds import Loan, length_bound, silence_bounds
from orchestrator.planning.scheduling.making import Made, make, paced
from orchestrator.planning.scheduling.tasks import Tasks
from orchestrator.planning.silence import (
    Span,
    listener_lists,
    on_air_sources,
    silences,
    spans,
    weighed,
)
from orchestrator.planning.things import thing_words, things_of

MOST_TRIED_ALONE = 2000
"""The steps of a run for which it is tried, too, whether silence is less without batches."""


def dry_run(scene: Scene) -> DryRun:
    """Plan the whole change. Nothing is written where the answer's hazards block."""
    aims = targets(scene)
    heard = listeners(scene, aims.states)
    wanted = heard.states
    hazards: list[Hazard] = [*aims.hazards, *heard.hazards]
    held = holders(scene)
    found = moves(scene, wanted)
    blocked = [*link(found, held, scene), *own_doubles(scene, wanted)]
    found, unbroken, least = break_cycles(found, held, scene, _cost(scene, heard))
    hazards += [*blocked, *unbroken]
    if blocked or unbroken:
        # What can't be reached has no sequence; hazards of a made-up one would only confuse.
        return _without_sequence(scene, wanted, hazards)
    graph = build(scene, wanted, found, heard)
    estimate_all(scene, graph.drafts)
    estimated = len(graph.drafts)
    groups, disagreement = phases(graph, scene.phases, scene.accepted)
    hazards += disagreement
    add_final_saves(scene, graph)
    add_first_saves(scene, graph)
    estimate_all(scene, graph.drafts[estimated:])
    quiet = spans(scene, graph, heard)
    try:
        made, batches, tasks = schedule(scene, graph, quiet)
    except ValueError as error:
        return _without_sequence(scene, wanted, [*hazards, _circle(error)])
    estimate_all(scene, graph.drafts, steady=False)
    tasks = replace(tasks, length=lengths_of(graph.drafts, batches))
    made = paced(made, tasks)
    bounds = silence_bounds(tasks, made.order)
    shortest = length_bound(tasks, _loans(scene, graph, batches), made.order)
    made = batches.spread(made, graph.drafts)
    tie(graph, made)
    made = batches.gathered(graph, made)
    hazards += dangers(scene, wanted, graph, heard)
    if not least:
        hazards.append(_not_least(found))
    sequence = Sequence(
        steps=steps_of(graph, made, batches.groups), phases=groups, width=scene.width
    )
    verdict = prove(scene, sequence, Meant.of(scene))
    known = with_acceptances(hazards, scene.accepted)
    if not any(hazard.blocks for hazard in known):
        # Where something else stops the run already, the proof only says it once more.
        known = with_acceptances([*hazards, *verdict], scene.accepted)
    return DryRun(
        facility=scene.plan.facility,
        changes=changes(scene, wanted),
        sequence=sequence,
        hazards=known,
        silence=silences(scene, quiet, made, bounds),
        estimate=Estimate(max(made.end, default=0) / 1000, shortest / 1000),
        listeners=listener_lists(scene, graph, heard),
        lent={move.subject: str(move.wanted) for move in found if move.lent == "out"},
        mended=mended(scene, wanted, held),
        proved=not verdict,
        search=Search(made.tries, made.whole),
    )


def scheduling(
    scene: Scene, graph: Graph, quiet: list[Span], batches: Batches | None = None
) -> Tasks:
    """The scheduling problem of a graph whose phases and estimates are known."""
    longest = round(1000 * sum(draft.seconds for draft in graph.drafts))
    return tasks_of(graph.drafts, weighed(quiet, longest), scene.width, batches)


def schedule(scene: Scene, graph: Graph, quiet: list[Span]) -> tuple[Made, Batches, Tasks]:
    """The schedule, with batches where they cost no silence; what goes in one request; the tasks.

    In a large run no other is tried: fewer requests are hardly ever the longer way.

    Raises:
        ValueError: the steps wait for one another in a circle.
    """
    alone = Batches(len(graph.drafts))
    ways = [form(scene, graph)]
    if ways[0].groups and len(graph.drafts) <= MOST_TRIED_ALONE:
        ways.append(alone)
    found = []
    for batches in ways:
        tasks = scheduling(scene, graph, quiet, batches)
        made = make(tasks)
        value = (tasks.cost(made.start, made.end), max(made.end, default=0))
        found.append((value, made, batches, tasks))
    _, made, batches, tasks = min(found, key=lambda each: each[0])
    return made, batches, tasks


def _loans(scene: Scene, graph: Graph, batches: Batches) -> list[Loan]:
    return [
        (batches.task(lent), batches.task(back), store, count)
        for lent, back, store, count in loans_of(scene, graph.drafts)
    ]


def _without_sequence(
    scene: Scene, wanted: Mapping[str, DeviceState], hazards: list[Hazard]
) -> DryRun:
    return DryRun(
        facility=scene.plan.facility,
        changes=changes(scene, wanted),
        sequence=Sequence(steps=(), phases=(Phase(rooms=()),), width=scene.width),
        hazards=with_acceptances(hazards, scene.accepted),
        silence=(),
        estimate=Estimate(0.0, 0.0),
    )


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


def _not_least(found: list[Move]) -> Hazard:
    lent = sum(move.lent == "out" for move in found)
    return Hazard(
        name="not-least",
        rule="sequence",
        grade=Grade.INFORMATION,
        what=f"{lent} transit numbers or addresses are lent; fewer might do in the largest ring",
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


def steps_for(sequence: Sequence) -> Mapping[str, Step]:
    """The steps of a sequence by id."""
    return {step.id: step for step in sequence.steps}
