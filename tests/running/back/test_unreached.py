"""Taking a run back while a device does not answer: what it holds is its own still."""

from dataclasses import replace

import pytest

from orchestrator.facility.found import AsFound, NotFound
from orchestrator.facility.plan import ListensTo
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.scene import Scene
from orchestrator.running.back.undo import TakeBack, take_back
from orchestrator.running.back.unreached import figures_in_doubt, hazards_of, plan_with, unreached
from orchestrator.running.events import Event, Failed, Failure, Intended
from tests.planning.scenes import Box, scene
from tests.running.runs import after, run

CHAIN = {
    "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
    "b": Box(32, {"s": (312, True)}, wants={"s": (313, None)}),
    "c": Box(33, {"s": (313, True)}, wants={"s": (314, None)}),
    "d": Box(71, {}, {"in": 312}),
}


def gone(found: AsFound, name: str) -> AsFound:
    """The survey without one device."""
    lost = NotFound(at="127.44.3.99", why="no route", kind="Unreachable")
    return replace(found, devices={**found.devices, name: lost})


def taken_back(lost: str) -> tuple[Scene, TakeBack, Scene]:
    """The chain, done and taken back while one device is gone: before, what is asked, as left."""
    before = scene(CHAIN)
    record, events, done = run(before)
    now = gone(done, lost)
    back = take_back(record, events, now)
    plan = plan_with(before.plan, record, events, back.lost)
    accepted = {hazard.name: "by hand" for hazard in back.hazards}
    accepted |= {"listener:d/in": "by hand"}
    asked = dict(back.asked)
    return before, back, replace(before, plan=plan, found=now, asked=asked, accepted=accepted)


@pytest.mark.parametrize(
    ("lost", "numbers"),
    [
        ("c", {"a": 311, "b": 312}),  # the end of the chain: the others go back
        ("b", {"a": 311, "c": 314}),  # b holds 313, so c can't have it again
        ("a", {"b": 313, "c": 314}),  # a holds 312, so b stays, and so does c
        ("d", {"a": 311, "b": 312, "c": 313}),
    ],
)
def test_the_rest_goes_back_as_far_as_it_can(lost: str, numbers: dict[str, int]) -> None:
    """Nobody is put onto what the lost device holds; all else is as before, and it is proved."""
    _, back, again = taken_back(lost)
    way = dry_run(again)
    assert way.proved, way.hazards
    assert not way.stopped, way.hazards
    end = after(again.found, way.sequence.steps)
    for name, number in numbers.items():
        state = end.state(name)
        assert state is not None
        assert state.sources["s"].number == number, name
        assert state.sources["s"].enabled
    (hazard,) = back.hazards
    assert hazard.name == f"unreached:{lost}"
    assert "cutsheet rollback-notes r1" in hazard.fix


def test_who_stays_because_of_it_is_told() -> None:
    """By name, and because of whom."""
    _, back, _ = taken_back("b")
    assert back.stays == (
        "c/s keeps its new number; its old one, 313, is held by b, which stays as it is",
    )


def test_a_listener_stays_with_what_can_not_be_moved_back() -> None:
    """D heard b on 312, and follows it to where b is by the ledger."""
    _, back, _ = taken_back("b")
    assert back.asked["d"].destinations["in"].listens_to == ListensTo(number=313)


def test_what_is_in_doubt_may_be_either() -> None:
    """A renumber whose outcome is unknown: both numbers are the device's."""
    before = scene(CHAIN)
    record, events, done = run(before)
    step = next(s for s in record.sequence.steps if s.subject == "c/s" and s.kind == "renumber")
    doubt: list[Event] = [event for event in events[:-1] if getattr(event, "step", "") != step.id]
    doubt += [Intended(step.id), Failed(step.id, Failure.UNKNOWN, "", unsure=True)]
    assert {313, 314} <= set(figures_in_doubt(record, doubt, "c"))
    assert figures_in_doubt(record, events, "c") == ()
    now = gone(done, "c")
    lost = unreached(record, doubt, now, ["a", "c"])
    assert list(lost) == ["c"]
    assert set(plan_with(before.plan, record, doubt, lost).devices["c"].numbers) >= {314}


def test_the_hazard_names_the_steps() -> None:
    """Those that the run wrote on that device, and no others."""
    record, _, done = run(scene(CHAIN))
    (hazard,) = hazards_of(record, gone(done, "c"), ["c"], record.sequence.steps)
    steps = [step.id for step in record.sequence.steps if step.device == "c"]
    assert f"steps {', '.join(steps)}" in hazard.what
    assert "no route" in hazard.what
