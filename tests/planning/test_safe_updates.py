"""What the literature on safe updates says, seen in our changes.

Read as abstracts: M. Reitblatt, N. Foster, J. Rexford, C. Schlesinger, D. Walker, "Abstractions
for Network Update", SIGCOMM 2012; X. Jin and others, "Dynamic Scheduling of Network Updates",
SIGCOMM 2014 (its system is named Dionysus). A. Ludwig, M. Rost, D. Foucard, S. Schmid, "Good
Network Updates for Bad Packets", HotNets 2014: its title is from memory.
"""

from dataclasses import replace

import networkx as nx  # type: ignore[import-untyped]  # it ships no types

from orchestrator.facility.step import Sequence, Step, StepKind
from orchestrator.planning.dry_run import dry_run
from tests.planning import hand
from tests.planning.scenes import MEDIA, NUMBERING, Box, random_boxes, scene
from tests.planning.simulator import explore, run

K = StepKind


def _as_listed(sequence: Sequence) -> Sequence:
    """The same steps, each device by itself: as somebody would who works device by device."""
    last: dict[str, str] = {}
    steps: list[Step] = []
    for step in sequence.steps:
        steps.append(replace(step, after=(last[step.device],) if step.device in last else ()))
        last[step.device] = step.id
    return replace(sequence, steps=tuple(steps))


def test_right_at_both_ends_and_wrong_between() -> None:
    """Right before and right after is not enough: some order of the same steps breaks a rule.

    Source: Reitblatt and others, SIGCOMM 2012: an update from a right configuration to a right
    one can pass through wrong states.
    """
    where, sequence = hand.safe(hand.chain())
    assert explore(where, sequence) == []
    wrong = _as_listed(sequence)
    assert {hazard.rule for hazard in hand.verdict(where, wrong)} & {"H1", "H8"}
    assert explore(where, wrong)


def test_what_is_free_goes_at_once_and_only_real_needs_wait() -> None:
    """Two chains that share nothing wait for nothing of each other, and overlap in a run.

    Source: Jin and others, SIGCOMM 2014: a graph of dependencies lets what is ready go at once.
    """
    boxes = {
        f"{name}{n}": Box(host + n, {"s": (base + n, True)}, wants={"s": (base + n + 1, None)})
        for name, host, base in (("a", 30, 310), ("b", 40, 410))
        for n in range(3)
    }
    planned = hand.planned(boxes)
    graph = nx.DiGraph([(first, s.id) for s in planned.sequence.steps for first in s.after])
    chains = list(nx.weakly_connected_components(graph))
    device = {step.id: step.device for step in planned.sequence.steps}
    assert sorted({device[name][0] for name in chain} for chain in chains) == [{"a"}, {"b"}]
    alone = hand.planned({name: box for name, box in boxes.items() if name.startswith("a")})
    assert planned.estimate.seconds == alone.estimate.seconds


def test_safe_in_every_order_that_a_run_may_take() -> None:
    """Whatever goes first among what is ready, no rule is broken: nothing hangs on luck."""
    for seed in range(40):
        where = scene(random_boxes(seed))
        planned = dry_run(where)
        if not planned.stopped:
            for order in range(3):
                assert not run(where, planned.sequence, order).broken


def test_two_properties_can_stand_in_each_others_way() -> None:
    """One number each and no third place: what each rule allows alone, both together forbid.

    Source: Ludwig and others: properties that hold one by one can conflict in passing. The way
    out is a place set aside; without one the change is refused, with one it is safe.
    """
    none = replace(MEDIA, numbering=replace(NUMBERING, transit=None))
    assert hand.planned(hand.ring(), media=none).stopped
    assert not hand.planned(hand.ring()).stopped
