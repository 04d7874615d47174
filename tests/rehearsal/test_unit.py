"""A simulated device: what it does, keeps and loses."""

from dataclasses import replace

from orchestrator.facility.found import DeviceState, Found
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves
from orchestrator.rehearsal.unit import Unit
from tests.planning.hand import chain, readdress, safe, step


def _unit(saves: Saves) -> tuple[Unit, DeviceState]:
    where, _ = safe(chain(saves))
    found = where.found.devices["b"]
    assert isinstance(found, Found)
    return Unit("b", found, where.traits["b"]), found.state


def test_what_is_not_saved_is_lost_with_the_power() -> None:
    """A unit that saves on request boots with what it had saved last."""
    _, sequence = safe(chain(Saves.ON_SAVE))
    unit, before = _unit(Saves.ON_SAVE)
    unit.do(step(sequence, StepKind.DISABLE, "b/s"))
    unit.do(step(sequence, StepKind.RENUMBER, "b/s"))
    assert unit.running.sources["s"].number == 320
    unit.reboot()
    assert unit.running.sources == before.sources


def test_what_is_saved_stays() -> None:
    """After a save, and in a unit that keeps at once, a power cycle changes nothing."""
    _, sequence = safe(chain(Saves.ON_SAVE))
    unit, _ = _unit(Saves.ON_SAVE)
    unit.do(step(sequence, StepKind.RENUMBER, "b/s"))
    unit.do(step(sequence, StepKind.SAVE, "b"))
    unit.reboot()
    assert unit.running.sources["s"].number == 320
    quick, _ = _unit(Saves.AT_ONCE)
    quick.do(step(sequence, StepKind.RENUMBER, "b/s"))
    quick.reboot()
    assert quick.running.sources["s"].number == 320


def test_a_readdressed_unit_answers_elsewhere() -> None:
    """It is where its interface says."""
    where, sequence = safe(readdress())
    found = where.found.devices["b"]
    assert isinstance(found, Found)
    unit = Unit("b", found, where.traits["b"])
    assert unit.address == "127.44.3.32"
    unit.do(step(sequence, StepKind.READDRESS, "b"))
    assert unit.address == "127.44.3.40"


def test_a_unit_is_away_until_it_is_back() -> None:
    """Times are virtual seconds."""
    unit, _ = _unit(Saves.AT_ONCE)
    unit.away_until = 5.0
    assert unit.away(4.9)
    assert not unit.away(5.0)


def test_a_setting_that_restarts_it_is_kept_and_all_else_that_was_not_saved_is_lost() -> None:
    """As a device does that boots with what it saved."""
    _, sequence = safe(chain(Saves.ON_SAVE))
    unit, before = _unit(Saves.ON_SAVE)
    unit.do(step(sequence, StepKind.RENUMBER, "b/s"))
    setting = replace(
        step(sequence, StepKind.SAVE, "b"), kind=StepKind.SET, setting="rate", wanted=96
    )
    unit.do(setting)
    unit.restarted_by(setting)
    assert unit.running.settings == {**before.settings, "rate": 96}
    assert unit.running.sources == before.sources
    assert unit.running == unit.boots
