"""When a person is told to move a cable."""

from dataclasses import replace

from orchestrator.actions.bench.reporter import CableReporter
from orchestrator.facility.step import Sequence, Step, StepKind
from orchestrator.planning.bench import bench_units
from orchestrator.running.events import Event, Proved
from orchestrator.running.record import RunRecord
from tests.actions.acted import Reporter
from tests.planning.hand import join, safe, step


def _reporter(*events: Event) -> tuple[CableReporter, list[str], Reporter, Sequence]:
    where, sequence = safe(join())
    record = RunRecord(
        id="r-1", facility="Test", title="", made_at="", digest="", sequence=sequence,
        expects={}, before={},
    )  # fmt: skip
    told: list[str] = []
    then = Reporter()
    units = bench_units(where.plan, where.asked)
    made = CableReporter(record, events, then, units=units, wait_s=60, tell=told.extend)
    return made, told, then, sequence


def _move(sequence: Sequence) -> Step:
    return step(sequence, StepKind.READDRESS, "new")


def test_the_cable_is_told_when_the_unit_has_said_yes() -> None:
    """Not before, not of other steps; and everything is passed on."""
    reporter, told, then, sequence = _reporter()
    reporter.stored(Proved(step(sequence, StepKind.RENUMBER, "new/s").id))
    assert told == []
    reporter.step_started(_move(sequence))
    reporter.stored(Proved(_move(sequence).id))
    assert "MOVE THE CABLE NOW" in " ".join(told)
    assert "127.44.3.50" in " ".join(told)
    assert len(then.events) == 2


def test_a_run_that_goes_on_tells_it_again() -> None:
    """The move was made by a call before this one: the confirm says what to do."""
    _, sequence = safe(join())
    reporter, told, _, _ = _reporter(Proved(_move(sequence).id))
    reporter.step_started(step(sequence, StepKind.CONFIRM, "new"))
    assert "MOVE THE CABLE NOW" in " ".join(told)


def test_a_move_inside_the_facility_needs_no_cable() -> None:
    """Only what leaves a bench does."""
    where, sequence = safe(join())
    elsewhere = replace(where.plan.networks["bench"], name="other")
    reporter, told, _, _ = _reporter()
    reporter._units = {"new": replace(reporter._units["new"], bench=replace(
        elsewhere, subnet=where.plan.networks["media"].subnet))}  # fmt: skip
    reporter.stored(Proved(_move(sequence).id))
    assert told == []
