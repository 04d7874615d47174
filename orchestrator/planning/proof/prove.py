"""The proof: whether a sequence keeps the safety rules at every instant.

It shares nothing with the code that makes sequences. A sequence is safe exactly when

- each step is about something that the survey found, and finds what the step before it on the
  same thing left (H7), on a device that is known to be the one meant;
- on each device: a source is renumbered only while disabled (H3); a readdress comes after every
  disable, renumber and label, with all sources off (H4), and is confirmed before anything else
  is sent (H5); a setting that interrupts comes while all sources are off;
- for every two times in which two owners hold one thing, the letting go of the one, proved and
  saved, comes before the taking of the other (H1, H2, H9);
- for every time in which a destination points at something and every time in which a source is
  enabled there, the two are apart, or the hearing is meant (H8);
- nothing off limits, nothing on air and nothing outside the chosen rooms is touched (H6).
"""

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import Sequence
from orchestrator.planning.proof.case import Case, Meant, broken
from orchestrator.planning.proof.hearing import Hearings
from orchestrator.planning.proof.known import unknown
from orchestrator.planning.proof.leave import Leave
from orchestrator.planning.proof.lines import by_device
from orchestrator.planning.proof.order import BadOrder
from orchestrator.planning.proof.readdress import Readdresses
from orchestrator.planning.proof.settings import settings
from orchestrator.planning.proof.things import Things
from orchestrator.planning.proof.unsaved import unsaved
from orchestrator.planning.proof.values import Values
from orchestrator.planning.scene import Scene

__all__ = ["prove"]


def prove(scene: Scene, sequence: Sequence, meant: Meant) -> list[Hazard]:
    """Every way in which ``sequence`` breaks a rule; an empty list is the proof that it is safe."""
    own = by_device(sequence.steps)
    if strangers := list(unknown(scene, own)):
        return strangers
    try:
        case = Case.of(scene, sequence, meant, own)
    except BadOrder as error:
        return [broken("order", f"step {error.step}: {error}", (error.step,))]
    found = [
        *Values(case).found(),
        *Readdresses(case).found(),
        *settings(case),
        *Things(case).found(),
        *Hearings(case).found(),
        *Leave(case).found(),
        *unsaved(case),
    ]
    return list(dict.fromkeys(found))
