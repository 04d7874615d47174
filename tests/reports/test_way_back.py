"""The way back walks a proved order backwards."""

from collections.abc import Callable

from orchestrator.facility.step import StepKind
from orchestrator.reports.way_back import addresses_now, way_back
from orchestrator.running.events import Event, Failed, Failure, Intended, Proved, Sent
from orchestrator.running.record import RunRecord

Make = Callable[..., tuple[Event, ...]]


def walk(record: RunRecord, events: tuple[Event, ...]) -> list[tuple[StepKind, str, str]]:
    """The way back as kinds, subjects and addresses."""
    steps = way_back(record, events).steps
    return [(back.step.kind, back.step.subject, back.at) for back in steps]


def test_what_came_after_is_put_back_before(record: RunRecord, done: Make) -> None:
    """Whatever order the events came in, no step is put back before one that came after it."""
    for places in (range(1, 13), (2, 1, 8, 3, 4, 7, 9, 10, 12, 5, 6, 11)):
        steps = [back.step for back in way_back(record, done(*places)).steps]
        ids = [step.id for step in steps if step.kind is not StepKind.CONFIRM]
        for step in steps:
            for before in step.after:
                if before in ids and step.id in ids and step.kind is not StepKind.SAVE:
                    assert ids.index(step.id) < ids.index(before)


def test_a_unit_saves_before_the_next_is_touched(record: RunRecord, done: Make) -> None:
    """A unit that has to save does so right after what was put back on it."""
    way = walk(record, done(1, 2, 3, 4, 5, 6))
    assert way[:3] == [
        (StepKind.REPOINT, "rack-node/output-1", "127.44.3.71"),
        (StepKind.SAVE, "rack-node", "127.44.3.71"),
        (StepKind.RENUMBER, "news-booth-engine/program-1", "127.44.3.41"),
    ]


def test_a_save_is_due_even_if_the_run_had_not_come_to_it(record: RunRecord, done: Make) -> None:
    """What was put back is saved also where the run's own save was never done."""
    assert (StepKind.SAVE, "rack-node", "127.44.3.71") in walk(record, done(1, 2, 3, 4, 5))


def test_addresses_follow_the_readdress_back(record: RunRecord, done: Make) -> None:
    """Before the address is put back the unit is at the new one, after it at the old one."""
    way = walk(record, done(*range(1, 10)))
    south = [(kind, at) for kind, subject, at in way if subject.startswith("studio-south")]
    assert south[0] == (StepKind.READDRESS, "127.44.3.32")
    assert south[1] == (StepKind.CONFIRM, "127.44.3.31")
    assert {at for _, at in south[1:]} == {"127.44.3.31"}


def test_a_doubt_comes_first(record: RunRecord, done: Make) -> None:
    """What was under way when the run stopped is settled before all else on its unit."""
    events = (*done(1, 2, 3), Intended("s4"), Sent("s4", False))
    first = way_back(record, events).steps[0]
    assert (first.step.id, first.doubt) == ("s4", True)


def test_nothing_is_put_back_that_was_surely_not_done(record: RunRecord, done: Make) -> None:
    """Steps that wait, failed for sure, or were found done already are not on the way back."""
    events = (
        *done(2),
        Intended("s1"),
        Failed("s1", Failure.REJECTED, ""),
        Intended("s13"),
        Proved("s13", already=True),
    )
    way = way_back(record, events)
    assert [back.step.id for back in way.steps] == ["s2"]
    assert [step.id for step in way.found_so] == ["s13"]


def test_addresses_now_are_those_proved(record: RunRecord, done: Make) -> None:
    """A readdress counts once it is proved, and no longer when its confirm fails it."""
    south = "studio-south-engine"
    assert addresses_now(record, ())[south] == "127.44.3.31"
    assert addresses_now(record, done(9))[south] == "127.44.3.32"
    failed = (*done(9), Failed("s9", Failure.NOT_DONE, ""))
    assert addresses_now(record, failed)[south] == "127.44.3.31"
