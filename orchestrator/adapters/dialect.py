"""What every dialect gives: talks with a device, written as generators."""

from collections.abc import Sequence
from typing import Protocol, runtime_checkable

from orchestrator.adapters.http.messages import Exchange
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import Step
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import Part


class Dialect(Protocol):
    """How one make of device is spoken to.

    A generator yields a request and receives the response to it; responses that are no answer
    (4xx, 5xx, but for the request's ``also_fine``) never get here. In a ``write`` at most one
    request changes something, and it is the last; what else is needed for it ``follows``.
    """

    @property
    def traits(self) -> Traits:
        """What the device can do."""
        ...

    def identify(self) -> Exchange[Identity]:
        """Ask who it is."""
        ...

    def read(self, parts: frozenset[Part]) -> Exchange[DeviceState]:
        """Read its identity and the given parts."""
        ...

    def write(self, step: Step) -> Exchange[None]:
        """Write one step."""
        ...


@runtime_checkable
class TakesBatches(Protocol):
    """A dialect that can send several steps in one request, as its traits' batches say."""

    def write_together(self, steps: Sequence[Step]) -> Exchange[None]:
        """Write several steps, none of which waits for another, in one request.

        Raises:
            PartlyRefused: the device answered for each of them apart.
        """
        ...
