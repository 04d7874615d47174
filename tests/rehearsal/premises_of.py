"""Rehearsals of the planning tests' small facilities."""

from collections.abc import Mapping, Sequence
from random import Random
from typing import Any

from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Sequence as Steps
from orchestrator.planning.scene import Scene
from orchestrator.rehearsal.premises import Premises
from orchestrator.rehearsal.rehearse import once
from orchestrator.rehearsal.site import Site
from orchestrator.running.rehearsed import Fault, Time
from orchestrator.running.steps.patience import Patience
from tests.planning.hand import safe
from tests.planning.scenes import Box


def premises(where: Scene, sequence: Steps, **more: Any) -> Premises:
    """The premises of a scene and a sequence."""
    return Premises(
        plan=where.plan,
        found=where.found,
        traits=where.traits,
        sequence=sequence,
        patience={
            name: Patience(late_s=traits.late_s, settle_s=traits.settle_s)
            for name, traits in where.traits.items()
        },
        meant={
            Ref(device, name): wish.listens_to
            for device, asked in where.asked.items()
            for name, wish in asked.destinations.items()
            if wish.listens_to is not None
        },
        **more,
    )


def of(boxes: Mapping[str, Box], **more: Any) -> Premises:
    """The premises of a facility whose change the planner finds safe."""
    where, sequence = safe(boxes, **more)
    return premises(where, sequence)


def site(boxes: Mapping[str, Box], *faults: Fault, seed: int = 1) -> Site:
    """The simulated site of such a facility."""
    return Site(of(boxes), faults, Random(seed))


def rehearsed(what: Premises, *faults: Fault, seed: int = 1) -> Time:
    """One rehearsal."""
    return once(what, faults, seed, lambda step: str(step.kind))


def broken(what: Premises, seeds: Sequence[int] = range(8)) -> set[str]:
    """The rules that are broken in some rehearsals without faults."""
    return {rule.split(":")[0] for seed in seeds for rule in rehearsed(what, seed=seed).broken}
