from dataclasses import replace

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import Sequence
from orchestrator.planning.result import DryRun, Estimate


def _hazard(grade: Grade, accepted: str | None = None) -> Hazard:
    return Hazard(name="n", rule="H1", grade=grade, what="what", accepted=accepted)


def test_a_dry_run_is_stopped_by_any_hazard_that_blocks() -> None:
    """One that stops always; one that needs a name until it has one; information never."""
    clear = DryRun(
        facility="Test",
        changes=(),
        sequence=Sequence(steps=()),
        hazards=(),
        silence=(),
        estimate=Estimate(0.0, 0.0),
    )
    assert not clear.stopped
    for hazard, stopped in (
        (_hazard(Grade.STOPS), True),
        (_hazard(Grade.STOPS, "no acceptance helps"), True),
        (_hazard(Grade.NEEDS_NAME), True),
        (_hazard(Grade.NEEDS_NAME, "asked"), False),
        (_hazard(Grade.INFORMATION), False),
    ):
        assert replace(clear, hazards=(hazard,)).stopped is stopped
