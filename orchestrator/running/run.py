"""A run as a state machine: told what came of each operation, it says what to do next."""

from collections.abc import Iterable, Mapping

from orchestrator.facility.found import Identity
from orchestrator.facility.step import Sequence
from orchestrator.running.events import Event
from orchestrator.running.operations import Operation, Outcome
from orchestrator.running.patience import Patience


class Run:
    """One run of a sequence: no I/O, no clock, no chance. See :meth:`ready` and :meth:`settle`."""

    def __init__(
        self,
        sequence: Sequence,
        expects: Mapping[str, Identity],
        events: Iterable[Event] = (),
        *,
        width: int | None = None,
        patience: Mapping[str, Patience] | None = None,
        questions: Mapping[int, tuple[str, ...]] | None = None,
    ) -> None:
        raise NotImplementedError

    @property
    def finished(self) -> bool:
        """Whether every step is proved, and that is stored."""
        raise NotImplementedError

    @property
    def paused(self) -> str | None:
        """Why the run stopped for now; None while it runs or is finished."""
        raise NotImplementedError

    def ready(self) -> tuple[Operation, ...]:
        """What is to be done now and was not handed out yet; empty: over, or waiting."""
        raise NotImplementedError

    def settle(self, operation: Operation, outcome: Outcome) -> None:
        """Tell what came of an operation that was handed out."""
        raise NotImplementedError

    def pause(self, why: str) -> None:
        """Start no new step; what is in hand finishes, then the run is paused."""
        raise NotImplementedError
