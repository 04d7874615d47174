"""Random safety: many seeded facilities through planner, proof and a step-by-step simulator.

``python -m tests.benchmarks.safety [--seeds N] [--first SEED] [--orders K]``. No sequence may break
a rule in any of the random orders tried, with a loss of power at every instant; the proof must hold
for each; and what the planner refuses must be beyond any planner: where it says that a ring can't
be broken, an exhaustive search over the moves must agree; where it says that something is held,
two would have one thing in the end; everything else asks a person for what no tool can know. A
seed that fails prints one line that does it again. Exit status: 0 nothing was broken, 1 something
was.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from multiprocessing import Pool

from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene
from tests.benchmarks.search import Wanted, ways
from tests.benchmarks.trouble import KINDS, facility
from tests.planning.simulator import run

BY_DOCUMENT = frozenset({"ambiguous", "dangling", "no-such-source", "no-number"})
"""Refusals that only a person can lift, by saying in a document what is meant."""
BY_PERSON = frozenset({"off-limits", "listener", "unsurveyed"})
"""Refusals that only a person can lift, by leave or by seeing to it."""
BY_MOVES = frozenset({"no-transit", "too-little-transit"})
"""Refusals that a search over the moves can judge."""
BY_GOAL = frozenset({"held", "two-want"})
"""Refusals of what could not be in the end, whatever the order."""


def one(job: tuple[int, int]) -> tuple[Counter[str], list[str]]:
    """Try one seed in so many random orders; what was counted, and what went wrong."""
    seed, orders = job
    where = facility(seed)
    plan = dry_run(where)
    kind = KINDS[seed % len(KINDS)]
    again = f"python -m tests.benchmarks.safety --first {seed} --seeds 1 --orders {orders}"
    if plan.stopped:
        told, wrong = _refused(where, plan)
        return Counter({f"{kind}, refused: {told}": 1}), [
            f"seed {seed}: {each}. Again: {again}" for each in wrong
        ]
    wrong = [] if plan.proved else [f"seed {seed}: not proved. Again: {again}"]
    for order in range(orders):
        broken = run(where, plan.sequence, seed * 1000 + order).broken
        if broken:
            wrong.append(f"seed {seed}: {broken[0]}. Again: {again}")
            break
    return Counter({f"{kind}, planned": 1, "steps": len(plan.sequence.steps)}), wrong


def _refused(where: Scene, plan: DryRun) -> tuple[str, list[str]]:
    """Why a facility was refused, and what is wrong with that."""
    blocking = [hazard for hazard in plan.hazards if hazard.blocks]
    names = {hazard.name.split(":")[0] for hazard in blocking}
    wrong = []
    if unknown := names - BY_DOCUMENT - BY_PERSON - BY_MOVES - BY_GOAL:
        wrong.append(f"refused for {', '.join(sorted(unknown))}, which nothing bears out")
    told = "a document leaves it open" if names & BY_DOCUMENT else "a person has to see to it"
    if names & BY_MOVES:
        told = "no transit is left"
        found = ways(where, plan)
        rules = {h.rule for h in blocking if h.name.split(":")[0] in BY_MOVES}
        if all(found[rule] is not False for rule in rules):
            open_ones = any(found[rule] is None for rule in rules)
            told += " (too many moves to try all)" if open_ones else ""
            wrong += [] if open_ones else ["refused for want of transit, yet there is a way"]
    if names & BY_GOAL:
        told = "two would have one thing in the end"
        if not Wanted(where, plan).clash():
            wrong.append("refused for what is held, yet in the end nobody would have it twice")
    return told, wrong


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the seeds and print what came of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.safety")
    parser.add_argument("--seeds", type=int, default=20_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--orders", type=int, default=3)
    given = parser.parse_args(arguments)
    jobs = [(seed, given.orders) for seed in range(given.first, given.first + given.seeds)]
    counted: Counter[str] = Counter()
    wrong: list[str] = []
    with Pool(2) as pool:
        for count, failures in pool.imap_unordered(one, jobs, chunksize=50):
            counted.update(count)
            wrong += failures
    for name, number in sorted(counted.items()):
        sys.stdout.write(f"{name:60} {number}\n")
    sys.stdout.write("\n".join([*wrong, f"{'rules broken or wrongly refused':60} {len(wrong)}\n"]))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
