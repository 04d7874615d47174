"""Says when a cable is to be moved, the moment that it is so."""

from collections.abc import Callable, Iterable, Sequence
from ipaddress import IPv4Address

from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.planning.bench import BenchUnit
from orchestrator.reports.bench import cable_lines
from orchestrator.running.events import Event, Proved
from orchestrator.running.present import proved_steps
from orchestrator.running.protocols import Reporter
from orchestrator.running.record import RunRecord


class CableReporter:
    """A reporter that passes everything on, and tells of cables beside."""

    def __init__(
        self,
        record: RunRecord,
        events: Iterable[Event],
        then: Reporter,
        *,
        units: Iterable[BenchUnit],
        wait_s: float,
        tell: Callable[[Sequence[str]], None],
    ) -> None:
        self._steps = {step.id: step for step in record.sequence.steps}
        self._units = {unit.name: unit for unit in units}
        self._wait_s = wait_s
        self._tell_lines = tell
        self._then = then
        self._proved = set(proved_steps(events))

    def step_started(self, step: Step) -> None:
        """A confirm of a move that an earlier call made: its cable may not be moved yet."""
        self._then.step_started(step)
        moves = (self._steps[name] for name in step.after if name in self._proved)
        if step.kind is StepKind.CONFIRM:
            for move in moves:
                self._tell(move)

    def stored(self, event: Event) -> None:
        """A move that the unit said yes to: now is the time."""
        self._then.stored(event)
        if isinstance(event, Proved):
            self._tell(self._steps.get(event.step))

    def _tell(self, step: Step | None) -> None:
        unit = self._units.get(step.device) if step is not None else None
        if step is None or unit is None or step.kind is not StepKind.READDRESS:
            return
        if not isinstance(step.as_found, AddressValue) or not isinstance(step.wanted, AddressValue):
            return
        bench = unit.bench.subnet
        leaves = IPv4Address(step.as_found.address) in bench
        if leaves and IPv4Address(step.wanted.address) not in bench:
            self._tell_lines(cable_lines(unit, step.wanted.address, self._wait_s))
