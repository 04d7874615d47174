"""What the benchmark measures: a scene's dry-run, and the tasks that it had to schedule."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from unittest.mock import patch

from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.ordering.batches import Batches
from orchestrator.planning.ordering.drafts import Graph
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduled import schedule
from orchestrator.planning.scheduling.making import WORK, Made
from orchestrator.planning.scheduling.tasks import Silent, Tasks
from orchestrator.planning.silence import Span
from tests.benchmarks.facilities import facility
from tests.planning.carried import length, silences, starts


@dataclass(frozen=True, slots=True)
class Instance:
    """One facility, planned. ``on_air`` and ``every`` are its silences, plainly weighed.

    ``silent`` is what each of them lasts in the sequence, carried out on paper step by step.
    """

    seed: int
    tasks: Tasks
    on_air: tuple[Silent, ...]
    every: tuple[Silent, ...]
    silent: tuple[int, ...]
    milliseconds: int
    planned: DryRun

    def cost(self, level: Sequence[Silent]) -> int:
        """What the silences of ``level`` come to, weighed."""
        lasts = dict(zip([(off, on) for off, on, _ in self.every], self.silent, strict=True))
        return sum(weight * lasts[off, on] for off, on, weight in level)


def instances(count: int, first: int, *, devices: int, sources: int) -> Iterator[Instance]:
    """So many facilities by chance, of those that can be planned and silence anybody."""
    seed = first
    while count:
        found = instance(facility(seed, devices=devices, sources=sources), seed)
        if found is not None:
            count -= 1
            yield found
        seed += 1


def instance(scene: Scene, seed: int = 0) -> Instance | None:
    """One facility; None where the dry-run stops, or nobody goes silent."""
    tasks: list[Tasks] = []
    spans: list[Span] = []
    chosen: list[Batches] = []

    def making(
        scene: Scene, graph: Graph, quiet: list[Span], work: int = WORK
    ) -> tuple[Made, Batches, Tasks]:
        made, batches, problem = schedule(scene, graph, quiet, work)
        tasks.append(problem)
        spans.extend(quiet)
        chosen.append(batches)
        return made, batches, problem

    with patch("orchestrator.planning.scheduled.schedule", making):
        planned = dry_run(scene)
    if planned.stopped or not spans:
        return None
    began = starts(planned.sequence)
    lasts = silences(planned.sequence, began)
    ends = [(chosen[0].task(span.off), chosen[0].task(span.on)) for span in spans]
    return Instance(
        seed=seed,
        tasks=replace(tasks[0], silences=()),
        on_air=tuple((*end, 1) for end, span in zip(ends, spans, strict=True) if span.on_air),
        every=tuple(
            (*end, max(1, len(span.listeners))) for end, span in zip(ends, spans, strict=True)
        ),
        silent=tuple(lasts[str(span.ref)] for span in spans),
        milliseconds=length(planned.sequence, began),
        planned=planned,
    )
