from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.drafts import Draft, Graph


def _graph(count: int) -> Graph:
    graph = Graph()
    for number in range(count):
        index = graph.add(
            Draft(
                kind=StepKind.SAVE,
                device=f"d{number}",
                room="north",
                at="127.44.3.31",
                as_found=None,
                wanted=None,
            )
        )
        assert index == number
    return graph


def test_an_order_stands_once_and_a_reason_given_is_kept() -> None:
    """The same order again changes nothing; a reason fills in a missing one and is not lost."""
    graph = _graph(2)
    graph.order(0, 1)
    graph.order(0, 1, "why")
    graph.order(0, 1)
    assert graph.drafts[1].after == {0: "why"}


def test_no_order_with_nobody_or_with_oneself() -> None:
    """A step that is not planned orders nothing."""
    graph = _graph(2)
    graph.order(None, 1)
    graph.order(0, None)
    graph.order(1, 1)
    assert [draft.after for draft in graph.drafts] == [{}, {}]


def test_successors_are_the_orders_turned_round() -> None:
    """Each draft with those that come directly after it."""
    graph = _graph(3)
    graph.order(0, 1)
    graph.order(0, 2)
    graph.order(1, 2)
    assert graph.successors() == [[1, 2], [2], []]
