"""When each step of a graph is done so that silence is least, and how near the least that is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from orchestrator.planning.ordering.batches import Batches, form
from orchestrator.planning.ordering.drafts import Graph
from orchestrator.planning.ordering.finish import tie
from orchestrator.planning.ordering.loans import loans_of
from orchestrator.planning.ordering.problem import lengths_of, tasks_of
from orchestrator.planning.ordering.timing import estimate_all
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.bounds import Loan, length_bound, silence_bounds
from orchestrator.planning.scheduling.making import WORK, Made, make, paced
from orchestrator.planning.scheduling.tasks import Tasks
from orchestrator.planning.silence import Span, weighed

MOST_TRIED_ALONE = 2000
"""The steps of a run for which it is tried, too, whether silence is less without batches."""


@dataclass(frozen=True, slots=True)
class Scheduled:
    """The schedule of all drafts, in milliseconds, and the drafts that go in one request.

    ``bounds``: a proved lower bound of each silence, and ``shortest`` of the whole.
    """

    made: Made
    groups: Sequence[tuple[int, ...]]
    bounds: Sequence[int]
    shortest: int


def scheduled(scene: Scene, graph: Graph, quiet: list[Span], work: int = WORK) -> Scheduled:
    """Schedule the drafts of ``graph``, whose phases are known; ``work`` bounds the search.

    Each draft is put after what it waits for, so that nobody is silent sooner than need be.

    Raises:
        ValueError: the steps wait for one another in a circle.
    """
    made, batches, tasks = schedule(scene, graph, quiet, work)
    estimate_all(scene, graph.drafts, steady=False)
    tasks = replace(tasks, length=lengths_of(graph.drafts, batches))
    made = paced(made, tasks)
    bounds = silence_bounds(tasks, made.order)
    shortest = length_bound(tasks, _loans(scene, graph, batches), made.order)
    made = batches.spread(made, graph.drafts)
    tie(graph, made)
    return Scheduled(batches.gathered(graph, made), batches.groups, bounds, shortest)


def scheduling(
    scene: Scene, graph: Graph, quiet: list[Span], batches: Batches | None = None
) -> Tasks:
    """The scheduling problem of a graph whose phases and estimates are known."""
    longest = round(1000 * sum(draft.seconds for draft in graph.drafts))
    return tasks_of(graph.drafts, weighed(quiet, longest), scene.width, batches)


def schedule(
    scene: Scene, graph: Graph, quiet: list[Span], work: int = WORK
) -> tuple[Made, Batches, Tasks]:
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
        made = make(tasks, work)
        value = (tasks.cost(made.start, made.end), max(made.end, default=0))
        found.append((value, made, batches, tasks))
    _, made, batches, tasks = min(found, key=lambda each: each[0])
    return made, batches, tasks


def _loans(scene: Scene, graph: Graph, batches: Batches) -> list[Loan]:
    return [
        (batches.task(lent), batches.task(back), store, count)
        for lent, back, store, count in loans_of(scene, graph.drafts)
    ]
