"""The dry-run: from a scene to changes, a proved sequence, hazards, silence and an estimate."""

from collections.abc import Iterable, Mapping
from itertools import chain
from typing import TypeVar

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import Phase, Sequence, Step
from orchestrator.planning.apart import apart
from orchestrator.planning.course import Course, course
from orchestrator.planning.dangers import with_acceptances
from orchestrator.planning.ordering.finish import START, First
from orchestrator.planning.proof.case import Meant
from orchestrator.planning.proof.prove import prove
from orchestrator.planning.result import DryRun, Estimate, Search, Silence
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.making import WORK
from orchestrator.planning.silence import longest_first

T = TypeVar("T")


def dry_run(scene: Scene) -> DryRun:
    """Plan the whole change. Nothing is written where the answer's hazards block."""
    told = _one_after_another(apart(scene))
    hazards = list(chain.from_iterable(one.hazards for one in told))
    if any(one.steps is None for one in told):
        return _without_sequence(scene, told, hazards)
    if not all(one.least for one in told):
        hazards.append(_not_least(told))
    steps = tuple(chain.from_iterable(one.steps or () for one in told))
    phases = tuple(chain.from_iterable(one.phases for one in told))
    sequence = Sequence(steps=steps, phases=phases, width=scene.width)
    verdict = prove(scene, sequence, Meant.of(scene))
    known = with_acceptances(hazards, scene.accepted)
    if not any(hazard.blocks for hazard in known):
        # Where something else stops the run already, the proof only says it once more.
        known = with_acceptances([*hazards, *verdict], scene.accepted)
    return DryRun(
        facility=scene.plan.facility,
        changes=tuple(chain.from_iterable(one.changes for one in told)),
        sequence=sequence,
        hazards=known,
        silence=_silence(told),
        estimate=_estimate(told),
        listeners=tuple(chain.from_iterable(one.listeners for one in told)),
        lent=_all(one.lent for one in told),
        mended=_all(one.mended for one in told),
        proved=not verdict,
        search=Search(sum(one.tries for one in told), all(one.whole for one in told)),
    )


def _one_after_another(parts: list[Scene]) -> list[Course]:
    """The courses of parts that have nothing to do with each other, in one numbering."""
    told: list[Course] = []
    first = START
    for part in parts:
        one = course(part, first, WORK // len(parts))
        told.append(one)
        first = First(
            first.step + len(one.steps or ()),
            first.phase + len(one.phases),
            first.batch + one.batches,
        )
    return told


def _estimate(told: list[Course]) -> Estimate:
    """How long the parts take one after another, to the millisecond."""
    seconds = sum(one.seconds for one in told)
    return Estimate(round(seconds, 3), round(sum(one.bound_seconds for one in told), 3))


def _silence(told: list[Course]) -> tuple[Silence, ...]:
    """Every silence, the longest first."""
    if len(told) == 1:
        return told[0].silence
    return longest_first(chain.from_iterable(one.silence for one in told))


def _all(each: Iterable[Mapping[str, T]]) -> dict[str, T]:
    """What parts tell of different things, in one."""
    return dict(chain.from_iterable(one.items() for one in each))


def _without_sequence(scene: Scene, told: list[Course], hazards: list[Hazard]) -> DryRun:
    return DryRun(
        facility=scene.plan.facility,
        changes=tuple(chain.from_iterable(one.changes for one in told)),
        sequence=Sequence(steps=(), phases=(Phase(rooms=()),), width=scene.width),
        hazards=with_acceptances(hazards, scene.accepted),
        silence=(),
        estimate=Estimate(0.0, 0.0),
    )


def _not_least(told: list[Course]) -> Hazard:
    lent = sum(len(one.lent) for one in told)
    return Hazard(
        name="not-least",
        rule="sequence",
        grade=Grade.INFORMATION,
        what=f"{lent} transit numbers or addresses are lent; fewer might do in the largest ring",
    )


def steps_for(sequence: Sequence) -> Mapping[str, Step]:
    """The steps of a sequence by id."""
    return {step.id: step for step in sequence.steps}
