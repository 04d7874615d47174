"""The steps of each device in order: all of them, by kind, and by what they are about."""

from collections import defaultdict
from collections.abc import Iterable, Mapping

from orchestrator.facility.step import Step, StepKind

# Looked up once: each is asked of every step.
_SAVE, _SET, _READDRESS = StepKind.SAVE, StepKind.SET, StepKind.READDRESS


class Own:
    """One device's steps in order; ``moves`` are its readdresses."""

    __slots__ = ("moves", "of_destination", "of_source", "saves", "sets", "steps")

    def __init__(self) -> None:
        self.steps: list[Step] = []
        self.moves: list[Step] = []
        self.saves: list[Step] = []
        self.sets: list[Step] = []
        self.of_source: dict[str, list[Step]] = defaultdict(list)
        self.of_destination: dict[str, list[Step]] = defaultdict(list)


Lines = Mapping[str, Own]
"""The steps of each device that has any."""


def by_device(line: Iterable[Step]) -> Lines:
    """The steps of ``line`` by device, in its order."""
    found: dict[str, Own] = {}
    for step in line:
        own = found.get(step.device)
        if own is None:
            own = found[step.device] = Own()
        own.steps.append(step)
        if step.source is not None:
            own.of_source[step.source].append(step)
        elif step.destination is not None:
            own.of_destination[step.destination].append(step)
        kind = step.kind
        if kind is _SAVE:
            own.saves.append(step)
        elif kind is _SET:
            own.sets.append(step)
        elif kind is _READDRESS:
            own.moves.append(step)
    return found
