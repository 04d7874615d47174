"""H8: no destination hears a source that it neither heard before nor is meant to hear.

Not by a power cycle either: where a device boots with what it saved, an old pointer, or an old
source on an old number, is gone only when that is saved (H9).
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.plan import Ref
from orchestrator.planning.proof.case import Case, broken, label, over
from orchestrator.planning.proof.replay import Audible, Held, Pointed


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
        audible: dict[Held, list[Audible]] = defaultdict(list)
        heard = {thing for pointed in self.replay.pointed for thing in pointed.held}
        for time in self.replay.audible:
            for thing in time.held:
                if thing in heard:
                    audible[thing].append(time)
        allowed = self._allowed()
        said: set[tuple[Ref, str]] = set()
        for pointed in self.replay.pointed:
            meant = allowed[pointed.destination]
            for thing in pointed.held:
                for time in audible.get(thing, ()):
                    pair = (pointed.destination, time.owner)
                    if time.owner in meant or pair in said or self._never_both(pointed, time):
                        continue
                    said.add(pair)
                    yield self._wrong(pointed, time, thing)

    def _allowed(self) -> Mapping[Ref, set[str]]:
        """The sources that each destination heard at the start, or is meant to hear after."""
        spans = self.replay.spans
        allowed: dict[Ref, set[str]] = defaultdict(set)
        for pointed in self.replay.pointed:
            for thing in pointed.held:
                if pointed.begins is None:
                    first = {span.owner for span in spans.get(thing, ()) if span.taken is None}
                    allowed[pointed.destination] |= first
                if pointed.ends is None and self._by_number(pointed.destination):
                    last = {span.owner for span in spans.get(thing, ()) if span.released is None}
                    allowed[pointed.destination] |= last
        for ref, wish in self.case.meant.listens_to.items():
            if wish.source is not None:
                allowed[ref].add(str(wish.source))
        return allowed

    def _by_number(self, destination: Ref) -> bool:
        """Whether a playbook points it at a number or group, whoever holds that."""
        wish = self.case.meant.listens_to.get(destination)
        return wish is not None and wish.source is None

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
    def _wrong(pointed: Pointed, time: Audible, thing: Held) -> Hazard:
        step = time.begins or pointed.begins or pointed.ends
        since = f", from {label(step)}" if step else ""
        return broken(
            "H8",
            f"{pointed.destination} may hear {time.owner} on {thing[2]}, which it neither heard "
            f"before nor is meant to hear{since}",
            (step.id if step else "", str(pointed.destination)),
        )
