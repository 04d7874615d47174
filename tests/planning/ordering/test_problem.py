from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.ordering.problem import tasks_of

K = StepKind


def _draft(device: str, kind: StepKind, seconds: float, phase: int = 0) -> Draft:
    return Draft(
        kind=kind,
        device=device,
        room="north",
        at="127.44.3.31",
        as_found=None,
        wanted=None,
        seconds=seconds,
        phase=phase,
    )


def test_drafts_become_tasks() -> None:
    """Whole milliseconds, devices by number, both ways of the order, who acts, and the phase."""
    graph = Graph()
    graph.add(_draft("a", K.DISABLE, 0.25))
    graph.add(_draft("b", K.BY_HAND, 0.0))
    graph.add(_draft("a", K.ENABLE, 0.0254, phase=1))
    graph.order(0, 2)
    tasks = tasks_of(graph.drafts, [(0, 2, 3)], 0)
    assert tasks.length == (250, 1, 25), "what takes no time still comes before what follows it"
    assert tasks.device == (0, 1, 0)
    assert tasks.by_hand == (False, True, False)
    assert (tasks.before, tasks.later) == (((), (), (0,)), ((2,), (), ()))
    assert tasks.phase == (0, 0, 1)
    assert tasks.width == 1
