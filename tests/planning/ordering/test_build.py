from orchestrator.facility.step import StepKind
from orchestrator.planning.aims.holders import holders
from orchestrator.planning.aims.listeners import listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.ordering.build import build
from orchestrator.planning.ordering.moves import link, moves
from tests.planning import graphs, hand
from tests.planning.scenes import Box, random_boxes, scene


def test_only_devices_that_change_get_steps() -> None:
    """A device that is as wanted has none."""
    boxes = {**hand.chain(), "idle": Box(40, {"s": (401, True)}, wants={"s": (401, True)})}
    _, sequence = hand.safe(boxes)
    assert {s.device for s in sequence.steps} == {"a", "b", "c"}


def test_the_graph_of_a_change_without_rings_has_none() -> None:
    """Whatever is asked, the orders that the rules demand agree with one another."""
    built = 0
    for seed in range(60):
        where = scene(random_boxes(seed))
        heard = listeners(where, targets(where).states)
        found = moves(where, heard.states)
        blocked = link(found, holders(where), where)
        if blocked or graphs.has_ring({i: list(m.waits) for i, m in enumerate(found)}):
            continue
        graph = build(where, heard.states, found, heard)
        assert not graphs.has_ring({i: list(d.after) for i, d in enumerate(graph.drafts)})
        renumbers = sum(draft.kind is StepKind.RENUMBER for draft in graph.drafts)
        assert renumbers == sum(move.source is not None for move in found)
        built += 1
    assert built > 15
