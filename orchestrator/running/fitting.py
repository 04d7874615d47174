"""Whether a run fits into its maintenance window, seen beforehand."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.running.terms import Terms
from orchestrator.running.window import limits


def does_not_fit(terms: Terms, lengths: Sequence[float], at: datetime) -> Iterator[Hazard]:
    """What the window has no room for, if the run begins at ``at`` or when the window opens.

    ``lengths`` are the seconds that its phases take at the most. A first phase for which there is
    no time stops the run. A later one may still fit, if what is before it is quicker: the clock
    decides at its go/no-go point.
    """
    window = terms.window
    if window is None or not any(lengths):
        return
    begins = max(at, datetime.fromisoformat(window.opens))
    for phase, length in enumerate(lengths):
        if not limits(window, lengths, phase).allow(begins):
            yield _late(phase)
        begins += timedelta(seconds=length + terms.soak_s)


def _late(phase: int) -> Hazard:
    first = phase == 0
    why = (
        "it has no time in the window: its end, and the way back from there, would pass its end"
        if first
        else "it may have to wait for another night, if all before it takes as long as it may"
    )
    return Hazard(
        name=f"window:{phase + 1}",
        rule="window",
        grade=Grade.STOPS if first else Grade.INFORMATION,
        what=f"phase {phase + 1}: {why}",
        fix="begin earlier, choose fewer rooms, or agree on a longer window",
    )
