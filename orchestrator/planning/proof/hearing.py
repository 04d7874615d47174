"""H8: no destination hears a source that it neither heard before nor is meant to hear.

Not by a power cycle either: where a device boots with what it saved, an old pointer, or an old
source on an old number, is gone only when that is saved (H9).
"""

from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import attrgetter

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.plan import Ref
from orchestrator.planning.proof.case import Case, broken, label, over
from orchestrator.planning.proof.held import Audible, Held, Pointed


class Hearings:
    """Looks at every time a destination points somewhere, and who is enabled there then."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.scene = case.scene
        self.plan = case.scene.plan
        self.order = case.order
        self.replay = case.replay

    def found(self) -> Iterator[Hazard]:
        """Every pair of a destination and a source that it may hear and should not."""
        for destination, times in groupby(self.replay.pointed, key=attrgetter("destination")):
            own = list(times)
            passed = self._allowed(destination, own)
            for pointed in own:
                for held in pointed.held:
                    for time in held.audible or ():
                        if time.owner in passed or self._never_both(pointed, time):
                            continue
                        passed.add(time.owner)  # it is said once
                        yield self._wrong(pointed, time, held)

    def _allowed(self, destination: Ref, times: Sequence[Pointed]) -> set[str]:
        """The sources that a destination heard at the start, or is meant to hear after."""
        wish = self.case.meant.listens_to.get(destination)
        # By a number or group, whoever holds that.
        by_number = wish is not None and wish.source is None
        allowed = {str(wish.source)} if wish is not None and wish.source is not None else set()
        for pointed in times:
            for held in pointed.held:
                if pointed.begins is None:
                    allowed.update([span.owner for span in held.spans if span.taken is None])
                if pointed.ends is None and by_number:
                    allowed.update([span.owner for span in held.spans if span.released is None])
        return allowed

    def _never_both(self, pointed: Pointed, time: Audible) -> bool:
        here, there = pointed.destination.device, time.device
        return (
            pointed.ends is not None
            and time.begins is not None
            and over(self.case, here, pointed.ends, time.begins, there)
        ) or (
            time.ends is not None
            and pointed.begins is not None
            and over(self.case, there, time.ends, pointed.begins, here)
        )

    @staticmethod
    def _wrong(pointed: Pointed, time: Audible, held: Held) -> Hazard:
        step = time.begins or pointed.begins or pointed.ends
        since = f", from {label(step)}" if step else ""
        return broken(
            "H8",
            f"{pointed.destination} may hear {time.owner} on {held.value}, which it neither heard "
            f"before nor is meant to hear{since}",
            (step.id if step else "", str(pointed.destination)),
        )
