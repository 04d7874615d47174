"""The best schedule that CP-SAT (a constraint solver, of ortools) can find for the same tasks.

Its model allows a task to start at any instant; a run starts tasks only when others end. So its
optimum is never above the best that a run can do.
"""

from collections import defaultdict
from dataclasses import dataclass, replace
from math import gcd

from ortools.sat.python import cp_model

from orchestrator.planning.ordering.tasks import Tasks


@dataclass(frozen=True, slots=True)
class Best:
    """The least cost of the silences that was found, a proved lower bound of it, the starts."""

    cost: int
    bound: int
    proved: bool
    start: tuple[int, ...]


class Solver:
    """The tasks as a CP-SAT model."""

    def __init__(self, tasks: Tasks) -> None:
        self.unit = gcd(*tasks.length) or 1  # whole steps of it lose nothing, and are fewer
        self.tasks = replace(tasks, length=tuple(each // self.unit for each in tasks.length))
        self.model = cp_model.CpModel()
        self.horizon = sum(self.tasks.length)
        self.start = [self.model.new_int_var(0, self.horizon, "") for _ in tasks.length]
        self._order()
        self._devices()
        self._phases()

    def _order(self) -> None:
        for then, firsts in enumerate(self.tasks.before):
            for first in firsts:
                self.model.add(self.start[then] >= self.start[first] + self.tasks.length[first])

    def _devices(self) -> None:
        by_device = defaultdict(list)
        spoken = []
        for task, device in enumerate(self.tasks.device):
            interval = self.model.new_fixed_size_interval_var(
                self.start[task], self.tasks.length[task], ""
            )
            by_device[device].append(interval)
            if not self.tasks.by_hand[task]:
                spoken.append(interval)
        for intervals in by_device.values():
            self.model.add_no_overlap(intervals)
        if len(by_device) > self.tasks.width:
            self.model.add_cumulative(spoken, [1] * len(spoken), self.tasks.width)

    def _phases(self) -> None:
        gates = {p: self.model.new_int_var(0, self.horizon, "") for p in set(self.tasks.phase)}
        for task, phase in enumerate(self.tasks.phase):
            self.model.add(self.start[task] >= gates[phase])
            if phase + 1 in gates:
                self.model.add(gates[phase + 1] >= self.start[task] + self.tasks.length[task])

    def solve(self, seconds: float, workers: int, hint: tuple[int, ...] = ()) -> Best:
        """Minimise the cost of the silences for at most ``seconds``.

        Raises:
            RuntimeError: no schedule was found in that time.
        """
        length = self.tasks.length
        self.model.minimize(
            sum(
                weight * (self.start[on] + length[on] - self.start[off])
                for off, on, weight in self.tasks.silences
            )
        )
        for place, value in enumerate(hint):
            self.model.add_hint(self.start[place], value // self.unit)
        solver = cp_model.CpSolver()
        solver.parameters.max_time_in_seconds = seconds
        solver.parameters.num_workers = workers
        status = solver.solve(self.model)
        if status not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
            raise RuntimeError(f"CP-SAT found nothing in {seconds} s")
        return Best(
            cost=round(solver.objective_value) * self.unit,
            bound=round(solver.best_objective_bound) * self.unit,
            proved=status == cp_model.OPTIMAL,
            start=tuple(solver.value(variable) * self.unit for variable in self.start),
        )
