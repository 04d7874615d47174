"""The steps of a change as a scheduling problem."""

from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.drafts import Draft
from orchestrator.planning.ordering.tasks import ranks, tasks_of


def draft(device: str, kind: StepKind, seconds: float, *after: int) -> Draft:
    """A draft of so many seconds."""
    made = Draft(kind=kind, device=device, room="r", at="", as_found=None, wanted=None)
    made.seconds = seconds
    made.after = dict.fromkeys(after, "")
    return made


def test_drafts_become_tasks_in_milliseconds() -> None:
    """Lengths are whole milliseconds, devices are numbered by first appearance."""
    drafts = [
        draft("a", StepKind.DISABLE, 0.0504),
        draft("b", StepKind.BY_HAND, 1.0),
        draft("a", StepKind.ENABLE, 0.05, 0, 1),
    ]
    tasks = tasks_of(drafts, [(0, 2, 3)], 0)
    assert tasks.length == (50, 1000, 50)
    assert tasks.device == (0, 1, 0)
    assert tasks.by_hand == (False, True, False)
    assert tasks.before[2] == (0, 1)
    assert tasks.later == ((2,), (2,), ())
    assert tasks.width == 1


def test_a_silence_costs_from_its_disable_to_the_end_of_its_enable() -> None:
    """Weight times milliseconds, summed."""
    tasks = tasks_of(
        [draft("a", StepKind.DISABLE, 0.01), draft("a", StepKind.ENABLE, 0.01, 0)], [(0, 1, 3)], 4
    )
    assert tasks.cost([5, 40], [15, 50]) == 3 * 45


def test_ranks_are_places() -> None:
    """The task at place n has rank n."""
    assert ranks([2, 0, 1]) == [1, 2, 0]
