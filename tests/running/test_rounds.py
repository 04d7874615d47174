"""What a look round finds in the middle of a run."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from orchestrator.facility.found import AsFound, DeviceState, Found, Identity, NotFound
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.running.events import Event
from orchestrator.running.record import RunRecord
from orchestrator.running.rounds import look_round
from tests.planning.scenes import Box, scene
from tests.running.runs import planned, proved, record_of, run


def half_done() -> tuple[RunRecord, list[Event], AsFound]:
    """A swap of two numbers, half-way: the run, its events, and the survey as it should be."""
    return run(
        scene(
            {
                "a": Box(31, {"s": (311, True)}, wants={"s": (411, None)}),
                "b": Box(41, {"s": (411, True)}, wants={"s": (311, None)}),
                "c": Box(71, {}, {"in": 311}),
            }
        ),
        4,
    )


def changed(found: AsFound, name: str, change: Callable[[DeviceState], DeviceState]) -> AsFound:
    """The survey with one device changed."""
    entry = found.devices[name]
    assert isinstance(entry, Found)
    return replace(
        found, devices={**found.devices, name: replace(entry, state=change(entry.state))}
    )


def finding(name: str, *where: str, grade: Grade = Grade.STOPS) -> Hazard:
    """A finding of an audit."""
    return Hazard(name=name, rule="plan", grade=grade, what=f"{name}!", where=where)


def test_as_the_run_left_it_is_clean() -> None:
    """At every place of the run."""
    for count in range(10):
        record, events, found = run(
            scene({"a": Box(31, {"s": (311, True)}, wants={"s": (312, None)})}),
            min(count, 3),
        )
        assert look_round(record, events, found, ()) == ()
    record, events, found = half_done()
    assert look_round(record, events, found, ()) == ()


def _source(state: DeviceState, **changes: object) -> DeviceState:
    held = replace(state.sources["s"], **changes)  # type: ignore[arg-type]  # real fields
    return replace(state, sources={"s": held})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda s: _source(s, number=999), "a/s is number 999, and should be"),
        (lambda s: _source(s, enabled=not s.sources["s"].enabled), "a/s is o"),
        (lambda s: replace(s, sources={}), "a/s is missing"),
        (lambda s: replace(s, identity=Identity(serial="X", model="M")), "answers, not"),
        (
            lambda s: replace(
                s, interfaces={"main": replace(s.interfaces["main"], address="127.44.3.99")}
            ),
            "a, main is 127.44.3.99, and should be 127.44.3.31 now",
        ),
    ],
)
def test_what_is_not_as_the_run_left_it(
    change: Callable[[DeviceState], DeviceState], said: str
) -> None:
    """Numbers, switches, addresses and who it is: each is told."""
    record, events, found = half_done()
    (told,) = look_round(record, events, changed(found, "a", change), ())
    assert said in told


def test_a_listener_that_points_elsewhere() -> None:
    """Of the run's own devices."""
    record, events, found = half_done()

    def away(state: DeviceState) -> DeviceState:
        return replace(state, destinations={"in": replace(state.destinations["in"], hears=7)})

    (told,) = look_round(record, events, changed(found, "c", away), ())
    assert told.startswith("c/in is pointed at 7, and should be at")


def test_who_no_longer_answers() -> None:
    """Also beside the run; but not who did not answer before it."""
    record, events, found = half_done()
    gone = NotFound(at="127.44.3.88", why="no route", kind="Unreachable")
    less = replace(found, devices={**found.devices, "d": gone})
    assert look_round(record, events, less, ()) == ("d does not answer (no route)",)
    assert look_round(replace(record, absent=("d",)), events, less, ()) == ()


def test_what_an_audit_finds() -> None:
    """What is new; not what was known before, nor what is for information."""
    record, events, found = half_done()
    audit = [
        finding("duplicate:7", "x/s", "y/s"),
        finding("differs:x/s:number", "x/s"),
        finding("differs:x/s:label", "x/s", grade=Grade.INFORMATION),
    ]
    known = replace(record, known=("duplicate:7",))
    assert look_round(known, events, found, audit) == ("differs:x/s:number!",)


def test_what_the_run_is_about_is_held_against_the_ledger_alone() -> None:
    """The plan still has the old number: that is no finding. A duplicate always is one."""
    record, events, found = half_done()
    audit = [
        finding("differs:a/s:number", "a/s"),
        finding("hears:c/in", "c/in"),
        finding("duplicate:411", "a/s", "x/s"),
    ]
    assert look_round(record, events, found, audit) == ("duplicate:411!",)


def test_a_transit_number_is_the_runs_own_until_it_is_done() -> None:
    """And so is what is not saved yet. After the run neither should be left."""
    record, events, found = half_done()
    audit = [finding("transit:a/s", "a/s"), finding("unsaved:a", "a")]
    assert look_round(record, events, found, audit) == ()
    done = proved(record.sequence.steps)
    after = run(scene({"a": Box(31, {"s": (311, True)})}), 0)[2] if not done else found
    told = look_round(replace(record, before={}), done, after, audit)
    assert set(told) == {"transit:a/s!", "unsaved:a!"}


def test_the_record_of_a_plan() -> None:
    """What a run is made of holds nothing known unless somebody looked."""
    facility = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (312, None)})})
    record = record_of(facility, planned(facility))
    assert (record.known, record.absent) == ((), ())
