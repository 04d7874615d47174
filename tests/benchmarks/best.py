"""The best schedule that CP-SAT (a constraint solver, of ortools) can find for the same tasks.

Its model allows a task to start at any instant; a run starts tasks only when others end. So its
optimum is never above the best that a run can do. What has nothing to do with each other (by
networkx's connected components of tasks and devices, phase by phase) is solved apart, so that more
can be proved.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import gcd

import networkx as nx  # type: ignore[import-untyped]  # it ships no types
from ortools.sat.python import cp_model

from orchestrator.planning.scheduling.tasks import Silent, Tasks


@dataclass(frozen=True, slots=True)
class Best:
    """The least cost that was found, level by level, a proved lower bound of each, all proved."""

    cost: tuple[int, ...]
    bound: tuple[int, ...]
    proved: bool


def best(tasks: Tasks, levels: Sequence[Sequence[Silent]], seconds: float, workers: int) -> Best:
    """Make the silences of the first level cost least, then those of the next, and so on.

    Each part is given ``seconds`` for each level.

    Raises:
        RuntimeError: nothing at all was found in that time.
    """
    cost, bound, proved = [0] * len(levels), [0] * len(levels), True
    for part in _parts(tasks):
        solver = _Solver(tasks, part)
        for place, level in enumerate(levels):
            own = [silent for silent in level if silent[0] in part]
            if own:
                found, least = solver.solve(own, seconds, workers)
                cost[place] += found
                bound[place] += least
                proved &= found == least
    return Best(tuple(cost), tuple(bound), proved)


def _parts(tasks: Tasks) -> Iterator[set[int]]:
    if len(set(tasks.device)) > tasks.width:
        raise ValueError("the width binds: nothing can be solved apart")
    graph = nx.Graph()
    for task, before in enumerate(tasks.before):
        phase = tasks.phase[task]
        graph.add_edge(task, ("device", phase, tasks.device[task]))
        graph.add_edges_from((task, first) for first in before if tasks.phase[first] == phase)
    for part in nx.connected_components(graph):
        yield {node for node in part if isinstance(node, int)}


class _Solver:
    """One part as a CP-SAT model."""

    def __init__(self, tasks: Tasks, part: set[int]) -> None:
        self.members = sorted(part)
        lengths = [tasks.length[task] for task in self.members]
        self.unit = gcd(*lengths) or 1  # whole steps of it lose nothing, and are fewer
        self.length = {task: tasks.length[task] // self.unit for task in self.members}
        self.horizon = sum(self.length.values())
        self.model = cp_model.CpModel()
        self.start = {task: self.model.new_int_var(0, self.horizon, "") for task in self.members}
        self.order = nx.DiGraph()
        self.order.add_nodes_from(self.members)
        for then in self.members:
            for first in part.intersection(tasks.before[then]):
                self.order.add_edge(first, then)
                self.model.add(self.start[then] >= self.start[first] + self.length[first])
        for device in {tasks.device[task] for task in part}:
            own = [task for task in self.members if tasks.device[task] == device]
            self.model.add_no_overlap(
                self.model.new_fixed_size_interval_var(self.start[t], self.length[t], "")
                for t in own
            )

    def solve(self, level: Sequence[Silent], seconds: float, workers: int) -> tuple[int, int]:
        """The least cost found and its bound; from now on nothing may cost more."""
        lasts = [(weight, self._lasts(off, on)) for off, on, weight in level]
        cost = sum(weight * variable for weight, variable in lasts)
        self.model.minimize(cost)
        solver = cp_model.CpSolver()
        solver.parameters.max_time_in_seconds = seconds
        solver.parameters.num_workers = workers
        status = solver.solve(self.model)
        if status not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
            raise RuntimeError(f"CP-SAT found nothing in {seconds} s")
        found = round(solver.objective_value)
        self.model.add(cost <= found)
        self.model.proto.clear_solution_hint()
        for task in self.members:
            self.model.add_hint(self.start[task], solver.value(self.start[task]))
        return found * self.unit, round(solver.best_objective_bound) * self.unit

    def _lasts(self, off: int, on: int) -> cp_model.IntVar:
        """How long a silence lasts: at least as long as the longest chain in it."""
        inside = self.order.subgraph(
            (nx.descendants(self.order, off) & nx.ancestors(self.order, on)) | {off, on}
        )
        for first, then in inside.edges:
            inside.edges[first, then]["length"] = self.length[first]
        chain = nx.dag_longest_path_length(inside, weight="length") + self.length[on]
        lasts = self.model.new_int_var(chain, self.horizon, "")
        self.model.add(lasts == self.start[on] + self.length[on] - self.start[off])
        return lasts
