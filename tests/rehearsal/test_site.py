"""The simulated network: what becomes of reads, writes and looks."""

from dataclasses import replace

from orchestrator.facility.plan import ListensTo
from orchestrator.facility.step import StepKind
from orchestrator.rehearsal.site import PROBE_S, TIMEOUT_S
from orchestrator.running.operations import (
    Accepted,
    Answers,
    Nobody,
    Probe,
    Read,
    Refused,
    Saw,
    Stranger,
    Unsure,
    Vacant,
    Write,
)
from orchestrator.running.rehearsed import Fault, Trouble
from tests.planning.hand import chain, join, readdress, step
from tests.planning.scenes import Box
from tests.rehearsal.premises_of import site


def test_a_read_shows_what_runs() -> None:
    """At the address where the unit stands; elsewhere it is another, or nobody."""
    here = site(readdress())
    off = step(here.premises.sequence, StepKind.DISABLE, "b/s")
    seen = here.read(Read(off, "127.44.3.32"))
    assert isinstance(seen, Saw)
    assert seen.state.identity.serial == "SN-b"
    assert isinstance(here.read(Read(off, "127.44.3.31")), Stranger)
    assert isinstance(here.read(Read(off, "127.44.3.99")), Nobody)


def test_a_write_takes_effect_and_can_be_read() -> None:
    """Accepted, and done."""
    here = site(chain())
    off = step(here.premises.sequence, StepKind.DISABLE, "b/s")
    here.read(Read(off, off.at))
    assert here.write(Write(off, off.at), 0.05) == Accepted()
    assert not here.units["b"].running.sources["s"].enabled
    assert not here.judge.broken


def test_a_readdressed_unit_answers_nobody_until_it_has_settled() -> None:
    """Then it is at its new address, and its old one is vacant."""
    here = site(readdress())
    move = step(here.premises.sequence, StepKind.READDRESS, "b")
    here.write(Write(move, move.at), 0.05)
    assert isinstance(here.read(Read(move, "127.44.3.40")), Nobody)
    here.pass_to(2.0)
    assert isinstance(here.read(Read(move, "127.44.3.40")), Saw)
    assert here.probe(Probe(move, "127.44.3.32")) == Vacant()
    assert isinstance(here.probe(Probe(move, "127.44.3.40")), Answers)


def test_a_bench_is_a_cable_to_the_unit_meant() -> None:
    """Two units at one factory address do not get in each other's way."""
    boxes = join()
    boxes["twin"] = replace(
        boxes["new"],
        host=51,
        to="127.44.3.51",
        sources={"s": (311, True)},
        wants={"s": (511, True)},
    )
    here = site(boxes)
    for name in ("new", "twin"):
        off = step(here.premises.sequence, StepKind.READDRESS, name)
        seen = here.read(Read(off, "127.0.2.50"))
        assert isinstance(seen, Saw)
        assert seen.state.identity.serial == f"SN-{name}"


def test_a_late_write_lands_later() -> None:
    """Accepted at once, done within the device's own time."""
    here = site(chain(), Fault("b", Trouble.APPLIES_LATE))
    off = step(here.premises.sequence, StepKind.DISABLE, "b/s")
    assert here.write(Write(off, off.at), 0.05) == Accepted()
    assert here.units["b"].running.sources["s"].enabled
    here.pass_to(here.premises.traits["b"].late_s)
    assert not here.units["b"].running.sources["s"].enabled


def test_lost_requests_do_nothing_and_lost_answers_do_it() -> None:
    """The run is told the same of both."""
    for trouble, done in ((Trouble.LOSES_REQUESTS, False), (Trouble.LOSES_ANSWERS, True)):
        here = site(chain(), Fault("b", trouble))
        off = step(here.premises.sequence, StepKind.DISABLE, "b/s")
        outcomes = [here.write(Write(off, off.at), 0.05) for _ in range(12)]
        assert Unsure("no answer") in outcomes
        first = outcomes[0] == Accepted() or done
        here = site(chain(), Fault("b", trouble))
        here.write(Write(off, off.at), 0.05)
        assert here.units["b"].running.sources["s"].enabled is not first


def test_a_unit_that_went_away_refuses_the_connection() -> None:
    """Surely not done; and it takes as long as a time-out."""
    here = site(chain(), Fault("b", Trouble.GOES_AWAY))
    off = step(here.premises.sequence, StepKind.DISABLE, "b/s")
    for _ in range(20):
        here.read(Read(off, off.at))
    assert isinstance(here.write(Write(off, off.at), 0.05), Refused)
    assert here.takes(Write(off, off.at)) == TIMEOUT_S
    here.calm()
    assert isinstance(here.read(Read(off, off.at)), Saw)


def test_an_intruder_answers_at_the_new_address() -> None:
    """A look sees it, and a read meets a stranger."""
    here = site(readdress(), Fault("b", Trouble.ADDRESS_TAKEN))
    move = step(here.premises.sequence, StepKind.READDRESS, "b")
    assert isinstance(here.probe(Probe(move, "127.44.3.40")), Answers)
    assert isinstance(here.read(Read(move, "127.44.3.40")), Stranger)


def test_time_is_taken_at_the_measured_pace() -> None:
    """Two requests a read, one a write; a vacant address takes a whole look."""
    here = site(chain())
    off = step(here.premises.sequence, StepKind.DISABLE, "b/s")
    assert 0.08 <= here.takes(Read(off, off.at)) <= 0.7
    assert 0.04 <= here.takes(Write(off, off.at)) <= 0.4
    assert here.takes(Probe(off, "127.44.3.99")) == PROBE_S


def test_what_another_hand_changed_is_put_back_when_it_is_calm() -> None:
    """The trouble is over: the unit is as the run left it."""
    here = site(chain(), Fault("b", Trouble.OTHER_HAND))
    off = step(here.premises.sequence, StepKind.DISABLE, "b/s")
    before = here.units["b"].running
    for _ in range(20):
        here.read(Read(off, off.at))
    assert here.units["b"].running != before
    here.calm()
    assert here.units["b"].running == before


def test_a_number_is_put_back_though_its_source_was_switched_since() -> None:
    """That was the run, which goes on from there; and what it set anew stays."""
    here = site(chain())
    unit = here.units["b"]
    before = unit.running.sources["s"]
    theirs = replace(before, number=1_000_001, groups=(None,))
    here._by_another.append((unit, "s", before, theirs))
    here._set(unit, "s", replace(theirs, enabled=False))
    here.calm()
    assert unit.running.sources["s"] == replace(before, enabled=False)
    here._by_another.append((unit, "s", before, theirs))
    here._set(unit, "s", replace(before, number=7))
    here.calm()
    assert unit.running.sources["s"].number == 7


def test_a_pointer_that_the_run_found_as_it_is_to_be_is_not_put_back() -> None:
    """Another hand had pointed it at nothing, as the run wants it."""
    boxes = chain()
    boxes["d"] = Box(34, hears={"in": 311}, listens={"in": ListensTo()})
    here = site(boxes)
    unit = here.units["d"]
    before = unit.running.destinations["in"]
    theirs = replace(before, hears=None)
    here._by_another.append((unit, "in", before, theirs))
    here._set(unit, "in", theirs)
    here.calm()
    assert unit.running.destinations["in"].hears is None
