"""The bench: fresh and reused units brought up one at a time, each in a run of its own.

For each unit: say which it is, which cable, and which address this computer needs; see that there
is no second way to the bench; meet the unit, and know it by its serial; show what is left over in
it; plan and prove its join; apply that; say when the cable is to be moved, and find it again at
its new address. Whatever stops it, the ledger knows how far each unit has come, and the next call
goes on there.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from orchestrator.actions.apply import Attendance, ReporterFor, apply, order_of, resume
from orchestrator.actions.bench.ledger import Past, past_of
from orchestrator.actions.bench.meet import Met, meet
from orchestrator.actions.bench.reporter import CableReporter
from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice, propose
from orchestrator.errors import CallError
from orchestrator.facility.computer import Computer
from orchestrator.facility.found import AsFound
from orchestrator.facility.hazard import Grade
from orchestrator.planning.bench import BenchUnit, amiss, bench_units
from orchestrator.planning.result import DryRun
from orchestrator.reports import bench as words
from orchestrator.reports.bench import UnitEnd, UnitState
from orchestrator.reports.hazards import hazard_lines
from orchestrator.running.events import Event
from orchestrator.running.protocols import Reporter
from orchestrator.running.record import RunRecord

Tell = Callable[[Sequence[str]], None]
"""Shows lines to whoever is there."""


@dataclass(frozen=True, kw_only=True)
class BenchWish:
    """How units are brought up.

    ``only`` names units; empty: all that playbooks reach on a bench. ``found`` is a saved survey of
    the facility, for a computer that can't reach it from the bench. ``look`` looks at this
    computer's network. ``elsewhere`` are addresses that a connect map sends somewhere else, so
    that this computer's own network says nothing of the way to them. ``wait_s``: how long a unit
    is waited for, on the bench and at its new address. ``agree`` is asked before each run.
    """

    choice: Choice
    look: Callable[[], Computer]
    agree: Callable[[str], bool]
    tell: Tell
    only: tuple[str, ...] = ()
    found: AsFound | None = None
    elsewhere: frozenset[str] = frozenset()
    wait_s: float = 300.0


async def bench(desk: Desk, wish: BenchWish, attendance: Attendance) -> tuple[UnitEnd, ...]:
    """Bring up the units, one after the other, until one stops or all have joined.

    Raises:
        CallError: there is no unit to bring up, or none of a name that was given.
        LedgerError: another run holds the facility.
    """
    units = _chosen(desk, wish.only)
    return await _Session(desk, wish, attendance, units).go()


def _chosen(desk: Desk, only: tuple[str, ...]) -> tuple[BenchUnit, ...]:
    units = bench_units(desk.plan, desk.asked)
    known = {unit.name: unit for unit in units}
    if not units:
        raise CallError(
            "no playbook reaches a unit on a bench",
            "give a device 'reach_at:' in a playbook, on a network with 'bench: true' in plan.yaml",
        )
    for name in only:
        if name not in known:
            raise CallError(
                f"no playbook reaches {name} on a bench", f"name one of these: {', '.join(known)}"
            )
    return tuple(known[name] for name in only) or units


class _Session:
    """One call: what has to be done with each unit, and how it ended."""

    def __init__(
        self, desk: Desk, wish: BenchWish, attendance: Attendance, units: tuple[BenchUnit, ...]
    ) -> None:
        self._desk = replace(desk, cables={unit.name: wish.wait_s for unit in units})
        self._wish = wish
        self._attendance = replace(attendance, reporter_for=self._reporter_for(attendance))
        self._units = units
        self._ends: dict[str, UnitEnd] = {}

    def _reporter_for(self, attendance: Attendance) -> ReporterFor:
        def make(record: RunRecord, events: Sequence[Event]) -> Reporter:
            then = attendance.reporter_for(record, events)
            wish = self._wish
            return CableReporter(
                record, events, then, units=self._units, wait_s=wish.wait_s, tell=wish.tell
            )

        return make

    async def go(self) -> tuple[UnitEnd, ...]:
        """Finish what was begun, then take unit after unit."""
        for unit in self._units:
            past = past_of(self._desk.folder, unit)
            if past.unfinished and unit.name not in self._ends:
                await self._go_on(past)
            elif past.joined:
                self._end(unit, UnitState.JOINED_BEFORE, past.serial, past.run)
        while not self._stopped and (pending := self._pending):
            await self._next(pending)
        for unit in self._pending:
            self._end(unit, UnitState.WAITING)
        return tuple(self._ends[unit.name] for unit in self._units)

    @property
    def _pending(self) -> tuple[BenchUnit, ...]:
        return tuple(unit for unit in self._units if unit.name not in self._ends)

    @property
    def _stopped(self) -> bool:
        stops = (UnitState.PAUSED, UnitState.STOPPED)
        return any(end.state in stops for end in self._ends.values())

    def _end(
        self,
        unit: BenchUnit,
        state: UnitState,
        serial: str | None = None,
        run: str | None = None,
        why: str = "",
    ) -> None:
        self._ends[unit.name] = UnitEnd(
            device=unit.name, state=state, serial=serial, run=run, why=why
        )

    async def _go_on(self, past: Past) -> None:
        """Finish a run that a call before this one began; others' units may be in it, too."""
        self._wish.tell([f"Run {past.run} was begun before and is not finished: it goes on."])
        ended = await resume(self._desk, past.run or "", self._attendance)
        state = UnitState.JOINED if ended.finished else UnitState.PAUSED
        for unit in self._units:
            if unit.name in past.devices:
                self._end(unit, state, past.serials.get(unit.name), past.run, ended.why)

    async def _next(self, pending: Sequence[BenchUnit]) -> None:
        """Take the next unit: the one that is on the cable, if it is one of those to come."""
        unit = pending[0]
        place = len(self._units) - len(pending) + 1
        self._wish.tell(words.card(unit, place, len(self._units), self._units))
        if not await self._only_way(unit):
            self._end(unit, UnitState.STOPPED, why="there may be a second way to the bench")
            return
        found = await meet(
            self._desk, pending, self._attendance.person, self._wish.tell, self._wish.wait_s
        )
        if isinstance(found, str):
            self._end(unit, UnitState.STOPPED, why=found)
        else:
            await self._join(found)

    async def _only_way(self, unit: BenchUnit) -> bool:
        """Whether what is sent to the unit can go nowhere else."""
        if unit.reach_at in self._wish.elsewhere:
            self._wish.tell([f"{unit.reach_at} is reached by the connect map."])
            return True
        computer = self._wish.look()
        wrong = amiss(unit, computer, self._desk.plan)
        if wrong:
            self._wish.tell(words.amiss_lines(wrong))
            return False
        if computer.routes is None:
            go, _ = await self._attendance.person.ask("bench-routes", words.by_hand_question(unit))
            return go
        return True

    async def _join(self, met: Met) -> None:
        unit = met.unit
        serial = met.found.state.identity.serial
        base = self._wish.found or await self._desk.survey()
        found = replace(base, devices={**base.devices, unit.name: met.found})
        plan = await self._plan(unit, found)
        self._wish.tell(words.leftovers(unit, plan.changes))
        if plan.stopped or not plan.proved:
            self._wish.tell(hazard_lines([h for h in plan.hazards if h.blocks]))
            self._end(unit, UnitState.STOPPED, serial, why="a hazard stops it")
        elif not plan.sequence.steps:
            self._end(unit, UnitState.JOINED_BEFORE, serial, why="it is as wanted already")
        elif not self._wish.agree(_question(unit, plan)):
            self._end(unit, UnitState.STOPPED, serial, why="nobody agreed to the change")
        else:
            await self._apply(unit, serial, plan, found)

    async def _plan(self, unit: BenchUnit, found: AsFound) -> DryRun:
        """Plan the unit's join; where it only needs a name, ask the person for it."""
        choice = replace(self._wish.choice, rooms=(unit.device.room,), phases=())
        while True:
            plan = propose(self._desk, found, choice, asked={unit.name: unit.asked})
            blocking = [hazard for hazard in plan.hazards if hazard.blocks]
            if not blocking or any(hazard.grade is Grade.STOPS for hazard in blocking):
                return plan
            for hazard in blocking:
                text = (f"Needs a name: {hazard.what}.", hazard.fix, "Do you accept that?")
                go, by = await self._attendance.person.ask(hazard.name, text)
                if not go:
                    return plan
                accepted = {**choice.accepted, hazard.name: f"accepted on the bench by {by}"}
                choice = replace(choice, accepted=accepted)

    async def _apply(self, unit: BenchUnit, serial: str, plan: DryRun, found: AsFound) -> None:
        order = order_of(f"From the bench: {unit.name}", plan, found)
        ended = await apply(self._desk, order, self._attendance)
        if ended.run is None:
            self._end(unit, UnitState.STOPPED, serial, why=ended.why)
            return
        state = UnitState.JOINED if ended.finished else UnitState.PAUSED
        self._end(unit, state, serial, ended.run, ended.why)


def _question(unit: BenchUnit, plan: DryRun) -> str:
    return f"Do these {len(plan.sequence.steps)} steps on {unit.name}?"
