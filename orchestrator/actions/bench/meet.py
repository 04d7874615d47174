"""Meeting a unit on the bench: whoever answers there is known by its serial, or is left alone."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from orchestrator.actions.desk import Desk
from orchestrator.errors import CutsheetError, NoSecret, Unreachable, words
from orchestrator.facility.found import Found, Identity
from orchestrator.planning.bench import BenchUnit
from orchestrator.reports.bench import plug_question, serial_question
from orchestrator.running.protocols import Person

LOOK_S = 2.0
"""Seconds between two looks for a unit that does not answer yet. Our own choice."""


@dataclass(frozen=True, slots=True)
class Met:
    """A unit that was met, and its whole state as it says."""

    unit: BenchUnit
    found: Found


async def meet(
    desk: Desk,
    pending: Sequence[BenchUnit],
    person: Person,
    tell: Callable[[Sequence[str]], None],
    wait_s: float,
) -> Met | str:
    """Meet the first of ``pending``, or another of them that is on the cable instead.

    Returns:
        The unit that is there, or why it did not come to that.
    """
    unit = pending[0]
    go, by = await person.ask(f"bench:{unit.name}", plug_question(unit, pending[1:]))
    if not go:
        return f"bench:{unit.name}: no ({by or 'not answered'})"
    alike = [other for other in pending if other.reach_at == unit.reach_at]
    until = desk.clock.now() + timedelta(seconds=wait_s)
    said = ""
    while True:
        seen = await _who(desk, alike)
        known = seen if isinstance(seen, str) else await _known(seen[1], alike, person)
        if isinstance(known, BenchUnit):
            return await _whole(desk, known, unit, tell)
        if known != said:
            said = known
            tell([f"{known}. Looking again."])
        if desk.clock.now() >= until:
            return f"{known}, after {wait_s:.0f} s"
        await desk.clock.sleep(LOOK_S)


async def _who(desk: Desk, units: Sequence[BenchUnit]) -> tuple[BenchUnit, Identity] | str:
    """Who answers there: units of several makes may share the address, so each way is tried."""
    said = f"nobody answers at {units[0].reach_at}"
    tried: set[tuple[str, ...]] = set()
    for unit in units:
        if unit.device.speaks in tried:
            continue
        tried.add(unit.device.speaks)
        adapter = desk.open_adapter(unit.name, unit.reach_at)
        try:
            return unit, await adapter.identify()
        except NoSecret:
            raise
        except Unreachable:
            pass
        except CutsheetError as error:
            said = words(error).what
        finally:
            await adapter.close()
    return said


async def _known(found: Identity, units: Sequence[BenchUnit], person: Person) -> BenchUnit | str:
    """The unit that has this serial; one without a serial in the plan only if a person says so."""
    for unit in units:
        if unit.device.serial == found.serial:
            return unit
    nameless = [unit for unit in units if unit.device.serial is None]
    if nameless:
        go, _ = await person.ask(f"serial:{nameless[0].name}", serial_question(nameless[0], found))
        if go:
            return nameless[0]
    meant = ", ".join(f"{unit.name} ({unit.device.serial or 'no serial yet'})" for unit in units)
    return f"{found} answers at {units[0].reach_at}, and none of these is that unit: {meant}"


async def _whole(
    desk: Desk, known: BenchUnit, meant: BenchUnit, tell: Callable[[Sequence[str]], None]
) -> Met | str:
    found = (await desk.survey(only=known.name)).devices[known.name]
    if not isinstance(found, Found):
        return found.why
    tell([f"{known.name}: {found.state.identity} answers at {found.at}."])
    if known.name != meant.name:
        tell([f"That is {known.name}, and not {meant.name}: {known.name} is taken first."])
    return Met(known, found)
