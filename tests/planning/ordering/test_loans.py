from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.ordering.loans import loans_of
from tests.planning import hand
from tests.planning.scenes import Box, scene

K = StepKind


def _graph(boxes: dict[str, Box]) -> Graph:
    """The steps of a safe sequence as drafts."""
    _, sequence = hand.safe(boxes)
    graph = Graph()
    for step in sequence.steps:
        graph.add(
            Draft(
                kind=step.kind,
                device=step.device,
                room="north",
                at=step.at,
                as_found=step.as_found,
                wanted=step.wanted,
                source=step.source,
            )
        )
    return graph


def test_a_ring_of_numbers_lends_one_of_four() -> None:
    """From the renumber into transit to the one out of it."""
    boxes = hand.ring()
    graph = _graph(boxes)
    ((out, home, store, count),) = loans_of(scene(boxes), graph.drafts)
    assert (store, count) == (0, 4)
    first, last = graph.drafts[out], graph.drafts[home]
    assert (first.kind, last.kind) == (K.RENUMBER, K.RENUMBER)
    assert str(first.wanted) == str(last.as_found) == "2990"


def test_an_exchange_of_addresses_lends_one_of_two() -> None:
    """The same for readdresses."""
    boxes = hand.exchange()
    graph = _graph(boxes)
    ((out, home, _, count),) = loans_of(scene(boxes), graph.drafts)
    assert count == 2
    assert {graph.drafts[out].kind, graph.drafts[home].kind} == {K.READDRESS}
    assert str(graph.drafts[out].wanted) == "127.44.3.230"


def test_a_chain_lends_nothing() -> None:
    """Everybody moves once."""
    boxes = hand.chain()
    assert loans_of(scene(boxes), _graph(boxes).drafts) == []
