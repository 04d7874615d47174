"""A report that is not so is told; one that can't know is not."""

from random import Random

from mocks.referee import Referee
from orchestrator.running.events import Intended, Proved, Sent
from tests.simulation.process import Ledger, Process
from tests.simulation.scene import job, record_of, world_of
from tests.simulation.trouble import CALM
from tests.simulation.truth import amiss, untrue
from tests.simulation.units import state_of
from tests.simulation.watch import Watch


def made() -> tuple[Process, Ledger]:
    """A run of one seed, not begun."""
    one = job(1, 2)
    assert one is not None
    world = world_of(one, Random(1), CALM)
    record = record_of(one, "r1")
    Referee(world)
    ledger = Ledger(Watch(record, world, frozenset()))
    return Process(record, ledger, world, Random(1)), ledger


def test_a_calm_run_tells_nothing_but_the_truth() -> None:
    """At its end every value is as the report says."""
    process, ledger = made()
    assert process.go()
    assert untrue(process.record, ledger.events(), process.world) == []


def test_a_report_of_what_never_was_is_told() -> None:
    """A ledger that calls steps proved which no device has done."""
    process, _ = made()
    steps = process.record.sequence.steps
    told = [e for s in steps for e in (Intended(s.id), Sent(s.id, known=True), Proved(s.id))]
    assert untrue(process.record, told, process.world)


def test_what_changed_by_itself_since_is_left_out() -> None:
    """Nobody can have reported it yet."""
    process, ledger = made()
    process.go()
    world = process.world
    for name, unit in world.units.items():
        for thing in (("enabled", source) for source in unit.memory.running.sources):
            unit.strays[thing] = "a power cycle"
        world.reboot(name, 1.0)
    assert untrue(process.record, ledger.events(), world) == []


def test_where_devices_do_not_stand_as_wanted() -> None:
    """Each value, by device; what is excepted is left out."""
    process, _ = made()
    world = process.world
    wanted = {name: unit.memory.running for name, unit in world.units.items()}
    assert amiss(world, wanted) == []
    name = process.record.sequence.steps[0].device
    state = wanted[name]
    source = next(iter(state.sources))
    changed = state.with_source(source, state.sources[source].__class__(number=7))
    wrong = amiss(world, {name: changed})
    assert wrong
    assert all(text.startswith(f"end: {name}") for text in wrong)
    things = [("enabled", source), ("number", source), ("label", source)]
    assert amiss(world, {name: changed}, frozenset((name, thing) for thing in things)) == []


def test_a_state_is_taken_over_whole() -> None:
    """What the survey found is what the simulated device holds."""
    one = job(1, 2)
    assert one is not None
    world = world_of(one, Random(1), CALM)
    assert {name: state_of(state) for name, state in one.scene.states.items()} == {
        name: unit.memory.running for name, unit in world.units.items()
    }
