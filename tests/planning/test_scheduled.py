import pytest

from orchestrator.facility.step import StepKind
from orchestrator.planning import scheduled as module
from orchestrator.planning.aims.holders import holders
from orchestrator.planning.aims.listeners import listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.ordering.batches import Batches
from orchestrator.planning.ordering.build import build
from orchestrator.planning.ordering.lending import break_cycles
from orchestrator.planning.ordering.moves import link, moves
from orchestrator.planning.ordering.phases import phases
from orchestrator.planning.ordering.timing import estimate_all
from orchestrator.planning.scheduled import scheduled
from orchestrator.planning.scheduling.making import Made, make
from orchestrator.planning.scheduling.tasks import Tasks
from orchestrator.planning.silence import spans
from tests.planning.scenes import random_boxes, scene


@pytest.mark.parametrize("seed", range(40))
def test_a_schedule_keeps_the_order_and_is_no_better_than_its_bounds(seed: int) -> None:
    """Each draft starts when what it comes after has ended, and no silence is below its bound."""
    where = scene(random_boxes(seed))
    heard = listeners(where, targets(where).states)
    found, held = moves(where, heard.states), holders(where)
    if link(found, held, where):
        return
    found, unbroken, _ = break_cycles(found, held, where, lambda _: ())
    if unbroken:
        return
    graph = build(where, heard.states, found, heard)
    estimate_all(where, graph.drafts)
    phases(graph, ())
    quiet = spans(where, graph, heard)
    done = scheduled(where, graph, quiet)
    made = done.made
    assert sorted(made.order) == list(range(len(graph.drafts)))
    for index, draft in enumerate(graph.drafts):
        assert all(made.end[first] <= made.start[index] for first in draft.after)
    for span, bound in zip(quiet, done.bounds, strict=True):
        assert graph.drafts[span.off].kind is StepKind.DISABLE
        assert 0 < bound <= made.end[span.on] - made.start[span.off]
    assert done.shortest <= max(made.end, default=0)


def test_in_a_large_run_batches_are_not_weighed(monkeypatch: pytest.MonkeyPatch) -> None:
    """What goes in one request is not tried without: one schedule is made, not two."""
    tried: list[int] = []

    def counted(tasks: Tasks, work: int) -> Made:
        tried.append(work)
        return make(tasks, work)

    where = scene(random_boxes(2))
    heard = listeners(where, targets(where).states)
    found, held = moves(where, heard.states), holders(where)
    assert not link(found, held, where)
    found, _, _ = break_cycles(found, held, where, lambda _: ())
    graph = build(where, heard.states, found, heard)
    estimate_all(where, graph.drafts)
    phases(graph, ())
    monkeypatch.setattr(module, "make", counted)
    offs = [i for i, draft in enumerate(graph.drafts) if draft.kind is StepKind.DISABLE][:2]
    batches = Batches(len(graph.drafts), [tuple(offs)])
    monkeypatch.setattr(module, "form", lambda *_: batches)
    quiet = spans(where, graph, heard)
    for most, tries in ((len(graph.drafts), 2), (len(graph.drafts) - 1, 1)):
        tried.clear()
        monkeypatch.setattr(module, "MOST_TRIED_ALONE", most)
        module.schedule(where, graph, quiet, 1000)
        assert tried == [1000] * tries
