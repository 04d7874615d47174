"""The steps of each device in order: all of them, by kind, and by what they are about."""

from collections import defaultdict
from collections.abc import Iterable, Mapping

from orchestrator.facility.step import Step, StepKind


class Own:
    """One device's steps in order."""

    __slots__ = ("of_destination", "of_kind", "of_source", "steps")

    def __init__(self) -> None:
        self.steps: list[Step] = []
        self.of_kind: dict[StepKind, list[Step]] = defaultdict(list)
        self.of_source: dict[str, list[Step]] = defaultdict(list)
        self.of_destination: dict[str, list[Step]] = defaultdict(list)

    @property
    def moves(self) -> list[Step]:
        """Its readdresses."""
        return self.of_kind.get(StepKind.READDRESS, [])

    @property
    def saves(self) -> list[Step]:
        """Its saves."""
        return self.of_kind.get(StepKind.SAVE, [])


def by_device(line: Iterable[Step]) -> Mapping[str, Own]:
    """The steps of ``line`` by device, in its order."""
    found: dict[str, Own] = {}
    for step in line:
        own = found.get(step.device)
        if own is None:
            own = found[step.device] = Own()
        own.steps.append(step)
        own.of_kind[step.kind].append(step)
        if step.source is not None:
            own.of_source[step.source].append(step)
        elif step.destination is not None:
            own.of_destination[step.destination].append(step)
    return found
