"""Who holds what and who hears whom, kept up change by change."""

from orchestrator.facility.plan import Ref
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves
from orchestrator.rehearsal.holdings import BOOTS, RUNS, Holdings, thing_words
from orchestrator.rehearsal.unit import Unit
from tests.planning.hand import chain, join, step
from tests.planning.scenes import Box, group
from tests.rehearsal.premises_of import of

OLD, NEW = ("number", "media", 312), ("number", "media", 320)


def _held(saves: Saves = Saves.AT_ONCE) -> tuple[Holdings, dict[str, Unit]]:
    what = of(chain(saves))
    units = {name: Unit(name, found, what.traits[name]) for name, found in what.units.items()}
    return Holdings(what, units), units


def test_a_number_and_its_group_are_held_while_the_source_has_them() -> None:
    """Enabled or not; and by what a power cycle would bring back."""
    held, units = _held(Saves.ON_SAVE)
    sequence = of(chain(Saves.ON_SAVE)).sequence
    units["b"].do(step(sequence, StepKind.RENUMBER, "b/s"))
    changed = held.update(units["b"])
    assert {OLD, NEW, ("group", "media", group(312)), ("group", "media", group(320))} == changed
    assert held.owners(OLD) == {"b/s": frozenset({BOOTS})}
    assert held.owners(NEW) == {"b/s": frozenset({RUNS})}
    units["b"].do(step(sequence, StepKind.SAVE, "b"))
    assert held.update(units["b"]) >= {OLD, NEW}
    assert held.owners(OLD) == {}


def test_a_destination_is_pointed_at_whoever_holds_the_number() -> None:
    """All of them, or the enabled ones."""
    held, units = _held()
    assert held.pointed(Ref("c", "in")) == {"a/s"}
    sequence = of(chain()).sequence
    units["a"].do(step(sequence, StepKind.DISABLE, "a/s"))
    assert ("number", "media", 311) in held.update(units["a"])
    assert held.pointed(Ref("c", "in")) == frozenset()
    assert held.pointed(Ref("c", "in"), enabled=False) == {"a/s"}


def test_a_bench_holds_nothing() -> None:
    """What stands there has the facility's numbers, and is none of it."""
    what = of(join())
    units = {name: Unit(name, found, what.traits[name]) for name, found in what.units.items()}
    assert set(Holdings(what, units).owners(("number", "media", 311))) == {"a/s"}


def test_an_absent_device_holds_what_the_plan_says() -> None:
    """No answer is not vacant."""
    boxes = {**chain(), "gone": Box(60, absent=True, numbers=(611,))}
    what = of(boxes)
    units = {name: Unit(name, found, what.traits[name]) for name, found in what.units.items()}
    held = Holdings(what, units)
    assert set(held.owners(("number", "media", 611))) == {"gone"}
    assert set(held.owners(("address", "media", "127.44.3.60"))) == {"gone"}


def test_a_thing_in_words() -> None:
    """Its kind, itself, its network."""
    assert thing_words(OLD) == "number 312 on media"
