"""Steps while they are still being ordered: a growing graph of them."""

from dataclasses import dataclass, field

from orchestrator.facility.step import Origin, StepKind, StepValue
from orchestrator.planning.scheduling.tasks import numbers


@dataclass(slots=True)
class Draft:
    """One step to be. ``after`` maps the drafts that it comes after to why, in words (or "").

    ``room`` is the room whose phase it belongs to. ``silences`` is set on a disable or enable
    that begins or ends the silence of a source.
    """

    kind: StepKind
    device: str
    room: str
    at: str
    as_found: StepValue
    wanted: StepValue
    source: str | None = None
    destination: str | None = None
    setting: str | None = None
    after: dict[int, str] = field(default_factory=dict)
    phase: int = 0
    seconds: float = 0.0
    origin: Origin | None = None


class Graph:
    """All drafts, and the order among them."""

    def __init__(self) -> None:
        self.drafts: list[Draft] = []
        self._numbers: list[int] = []  # as the schedule has them

    def add(self, draft: Draft) -> int:
        """Add a draft and give its index."""
        index = len(self.drafts)
        if index == len(self._numbers):
            self._numbers = numbers(2 * index + 1)
        self.drafts.append(draft)
        return self._numbers[index]

    def order(self, first: int | None, then: int | None, why: str = "") -> None:
        """Put ``then`` after ``first``; a reason given once is kept."""
        if first is None or then is None or first == then:
            return
        after = self.drafts[then].after
        if why or first not in after:
            after[first] = why or after.get(first, "")

    def successors(self) -> list[list[int]]:
        """For each draft, those that come directly after it."""
        found: list[list[int]] = [[] for _ in self.drafts]
        for index, draft in enumerate(self.drafts):
            for before in draft.after:
                found[before].append(index)
        return found
