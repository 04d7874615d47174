"""What a kit tries an adapter on: a device on the bench, and ways to make its life hard."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from enum import StrEnum
from typing import Protocol

from orchestrator.facility.found import Identity
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import Step
from orchestrator.running.protocols import DeviceAdapter


class Trouble(StrEnum):
    """What can be wrong with the device, as long as a bench makes it so."""

    AWAY = "nobody answers at its address"
    SIGN_IN = "it refuses the sign-in"
    REJECTS = "it refuses the next write, and says why"
    BUSY = "it asks to wait"
    OTHER_HAND = "another hand is faster: what is to be written has changed since it was read"
    NONSENSE = "its answers make no sense"
    UNANSWERED = "it takes a write, and the connection breaks before its answer"
    SILENT = "it takes connections and never answers"
    PART = "of several writes in one request it refuses the first, and says why"


class Bench(Protocol):
    """A device, and ways to make its life hard.

    ``identity`` is who it is, ``secret`` what signs in to it (None: nothing does). ``steps`` are
    writes that can be done one after the other: at least one of each kind that its traits name,
    each with what is there before it and what it wants. ``together`` has, for each batch that its
    traits name, at least two steps that go in one request, with ids of their own; the groups can be
    done one after the other, on a device as it came. A bench whose device takes none has none.
    """

    identity: Identity
    secret: Secret | None
    steps: Sequence[Step]
    together: Sequence[Sequence[Step]]

    def adapter(self, at: str | None = None) -> DeviceAdapter:
        """A new adapter; ``at`` is the address, if not the one at which the device began."""
        ...

    def trouble(self, kind: Trouble) -> AbstractContextManager[None]:
        """Make this trouble as long as the block lasts.

        Raises:
            NotImplementedError: this bench can't.
        """
        ...
