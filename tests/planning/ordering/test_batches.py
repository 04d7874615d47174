"""What goes in one request: as much as can, and nothing that waits for another of it."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import networkx as nx  # type: ignore[import-untyped]  # it ships no types
import pytest

from orchestrator.facility.step import Step
from orchestrator.facility.step import StepKind as K
from orchestrator.facility.traits import Batch, Effect
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.ordering.batches import Batches, form
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.making import Made
from tests.planning import carried
from tests.planning.scenes import Box, random_boxes, scene

STREAMS = Batch(frozenset({K.DISABLE, K.RENUMBER, K.ENABLE, K.SET}), 8)
POINTERS = Batch(frozenset({K.REPOINT}), 8)


def taking(made: Scene, *batches: Batch) -> Scene:
    """The scene with devices that take these batches."""
    return replace(made, traits={n: replace(t, batches=batches) for n, t in made.traits.items()})


def moving(count: int = 4, **more: Any) -> dict[str, Box]:
    """An engine whose sources all take numbers of another block, and a node that hears them."""
    numbers = range(1, count + 1)
    engine = Box(
        31,
        {f"p{n}": (310 + n, True) for n in numbers},
        wants={f"p{n}": (510 + n, None) for n in numbers},
        blocks=(31, 51),
    )
    node = Box(71, hears={f"in-{n}": 310 + n for n in numbers})
    return {"engine": replace(engine, **more), "node": node}


def batches_of(steps: Sequence[Step]) -> dict[int, list[str]]:
    """The steps of each batch, as kind and subject."""
    found: dict[int, list[str]] = {}
    for step in steps:
        if step.batch:
            found.setdefault(step.batch, []).append(f"{step.kind} {step.subject}")
    return found


def silence(planned: DryRun) -> float:
    """All silence of sources, in seconds."""
    return sum(entry.seconds for entry in planned.silence if entry.source)


def test_sources_that_change_alike_go_together() -> None:
    """Four requests instead of sixteen; nobody is silent longer, and all is proved."""
    alone = dry_run(scene(moving()))
    planned = dry_run(taking(scene(moving()), STREAMS, POINTERS))
    assert batches_of(planned.sequence.steps) == {
        1: [f"disable engine/p{n}" for n in (1, 2, 3, 4)],
        2: [f"renumber engine/p{n}" for n in (1, 2, 3, 4)],
        3: [f"repoint node/in-{n}" for n in (1, 2, 3, 4)],
        4: [f"enable engine/p{n}" for n in (1, 2, 3, 4)],
    }
    assert planned.proved
    assert silence(planned) == silence(alone)
    assert planned.estimate.seconds == pytest.approx(alone.estimate.seconds / 4)
    assert planned.estimate.bound_seconds <= planned.estimate.seconds


def test_no_more_go_together_than_the_device_takes() -> None:
    """Nine in requests of four: two full ones and one alone."""
    few = (replace(STREAMS, most=4), replace(POINTERS, most=4))
    planned = dry_run(taking(scene(moving(9)), *few))
    sizes = [len(each) for each in batches_of(planned.sequence.steps).values()]
    assert sizes == [4] * 8


def test_where_that_would_cost_silence_they_go_alone() -> None:
    """Its listener is pointed one by one: whoever comes first would wait for the last."""
    planned = dry_run(taking(scene(moving(9)), STREAMS))
    assert batches_of(planned.sequence.steps) == {}
    assert silence(planned) == silence(dry_run(scene(moving(9))))


def test_what_waits_for_another_never_goes_with_it() -> None:
    """A disable, its renumber and its enable are one kind of batch, and three requests."""
    planned = dry_run(taking(scene(moving(1)), STREAMS, POINTERS))
    assert batches_of(planned.sequence.steps) == {}


def test_a_kind_that_the_device_does_not_name_goes_alone() -> None:
    """Its pointers come one by one."""
    boxes = moving(2) | {"other": Box(72, hears={"in": 312})}
    del boxes["node"].hears["in-2"]
    planned = dry_run(taking(scene(boxes), STREAMS))
    assert batches_of(planned.sequence.steps)
    assert all(step.batch == 0 for step in planned.sequence.steps if step.kind is K.REPOINT)


def test_one_whose_number_is_late_keeps_no_other_silent() -> None:
    """Engine's p1 waits for what another device holds; p2 does not wait with it."""
    boxes = moving(2, wants={"p1": (511, None), "p2": (319, None)})
    boxes["holder"] = Box(52, {"s": (511, True)}, wants={"s": (521, None)})
    planned = dry_run(taking(scene(boxes), STREAMS, POINTERS))
    alone = dry_run(scene(boxes))
    assert silence(planned) <= silence(alone)


def test_a_source_that_is_off_anyway_goes_with_the_others() -> None:
    """It could be renumbered at any time; it is when its neighbour's number is."""
    boxes = moving(2, to="127.44.3.35")
    boxes["engine"].sources["p2"] = (312, False)
    planned = dry_run(taking(scene(boxes), STREAMS, POINTERS))
    assert ["renumber engine/p1", "renumber engine/p2"] in batches_of(
        planned.sequence.steps
    ).values()


def test_settings_with_effects_go_alone_and_labels_together() -> None:
    """A label changes nothing but itself."""
    boxes = moving(2, wants={}, labels={"p1": "A", "p2": "B"}, set_to={"gain": 3, "ptp_domain": 4})
    boxes["engine"].settings.update(gain=1, ptp_domain=0)
    boxes["engine"].effects["ptp_domain"] = Effect.REBOOTS
    planned = dry_run(taking(scene(boxes), STREAMS))
    found = batches_of(planned.sequence.steps)
    assert ["set engine/p1", "set engine/p2"] in found.values()
    assert all(" engine/" in each for batch in found.values() for each in batch)


def circle_free(planned: DryRun) -> bool:
    """Whether batches, taken as one each, can all be done one after another (networkx)."""
    steps = planned.sequence.steps
    unit = {s.id: f"{s.device} {s.batch}" if s.batch else s.id for s in steps}
    graph = nx.DiGraph()
    graph.add_edges_from(
        (unit[first], unit[s.id]) for s in steps for first in (*s.after, *s.behind)
    )
    return bool(nx.is_directed_acyclic_graph(graph))


@pytest.mark.parametrize("first", range(0, 150, 50))
def test_random_facilities(first: int) -> None:
    """Proved, no circle, as many as are taken at most, no two of one thing, no more silence."""
    together = 0
    for seed in range(first, first + 50):
        made = scene(random_boxes(seed))
        alone, planned = dry_run(made), dry_run(taking(made, replace(STREAMS, most=3), POINTERS))
        assert planned.stopped == alone.stopped
        if planned.stopped:
            continue
        assert planned.proved
        assert circle_free(planned)
        assert silence(planned) <= silence(alone) + 0.001
        lasts = carried.silences(planned.sequence, carried.starts(planned.sequence))
        told = {f"{s.device}/{s.source}": s.seconds for s in planned.silence if s.source}
        assert told == {who: lasts[who] / 1000 for who in told}
        kinds = {step.id: (step.kind, step.batch) for step in planned.sequence.steps}
        for step in planned.sequence.steps:
            assert not step.batch or all(kinds[name][1] != step.batch for name in step.after)
        sizes = [len(each) for each in batches_of(planned.sequence.steps).values()]
        assert all(size > 1 for size in sizes)
        together += sum(sizes)
    assert together > 20


def draft(device: str, kind: K, source: str = "") -> Draft:
    """A draft that takes no time."""
    return Draft(
        kind=kind, device=device, room="north", at="127.44.3.31", as_found=None, wanted=None,
        source=source or None,
    )  # fmt: skip


def test_steps_without_a_known_length_are_kept_apart_all_the_same() -> None:
    """At a desk no device has been timed; what waits for another is still another request."""
    made = taking(scene(moving()), STREAMS)
    graph = Graph()
    for source in ("p1", "p2"):
        graph.order(
            graph.add(draft("engine", K.DISABLE, source)),
            graph.add(draft("engine", K.RENUMBER, source)),
        )
    assert sorted(form(made, graph).groups) == [(0, 2), (1, 3)]


def test_a_circle_is_left_to_the_schedule() -> None:
    """It says what waits for what."""
    graph = Graph()
    one, other = (graph.add(draft("engine", K.DISABLE, source)) for source in ("p1", "p2"))
    graph.order(one, other)
    graph.order(other, one)
    assert form(taking(scene(moving()), STREAMS), graph).groups == []


def test_a_schedule_of_tasks_is_spread_over_their_drafts() -> None:
    """Drafts 0 and 2 are one task; ties are of disables alone, soft orders of all."""
    drafts = [draft("a", K.DISABLE), draft("b", K.RENUMBER), draft("a", K.RENUMBER)]
    batches = Batches(3, [(0, 2)])
    assert (batches.members, batches.task_of) == ([(0, 2), (1,)], [0, 1, 0])
    made = Made(start=[5, 0], end=[9, 5], waits={0: (1,)}, behind={0: (1,)}, order=[1, 0])
    spread = batches.spread(made, drafts)
    assert (spread.start, spread.end, spread.order) == ([5, 0, 5], [9, 5, 9], [1, 0, 2])
    assert (spread.waits, spread.behind) == ({0: (1,)}, {0: (1,), 2: (1,)})
    assert Batches(3).spread(made, drafts) is made


def test_each_of_a_batch_stands_behind_what_the_others_wait_for() -> None:
    """So that all of them may start at once; it holds nothing up that has failed."""
    graph = Graph()
    for device, kind in (("b", K.RENUMBER), ("a", K.DISABLE), ("a", K.DISABLE)):
        graph.add(draft(device, kind))
    graph.order(0, 2)
    batches = Batches(3, [(1, 2)])
    made = Made(start=[0] * 3, end=[0] * 3, waits={}, behind={}, order=[0, 1, 2])
    assert batches.gathered(graph, made).behind == {1: (0,)}
