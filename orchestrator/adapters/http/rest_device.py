"""A device that is spoken to over HTTP: joins a dialect, the way to it, and the patience."""

import time
from asyncio import Semaphore
from collections import deque
from collections.abc import Callable
from statistics import median
from typing import TypeVar

from orchestrator.adapters.dialect import Dialect, TakesBatches
from orchestrator.adapters.http import scrub
from orchestrator.adapters.http.conversation import play
from orchestrator.adapters.http.messages import Exchange, Request, Response
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.http.transport import Transport
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import Step
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import EVERYTHING, Part

T = TypeVar("T")
_MEASURED = 31
"""Requests whose times are kept; odd, so that the middle one is one of them."""


class RestDevice:
    """One device at one address (a ``DeviceAdapter``).

    ``gate`` gives the semaphore that bounds how many requests the device gets at once; where
    two adapters speak to one device, they share it. ``now`` gives seconds, to measure with.
    """

    def __init__(
        self,
        dialect: Dialect,
        transport: Transport,
        *,
        patience: Patience | None = None,
        gate: Callable[[], Semaphore] | None = None,
        now: Callable[[], float] = time.perf_counter,
    ) -> None:
        self._dialect = dialect
        self._transport = transport
        self._patience = patience or Patience()
        own = Semaphore(dialect.traits.requests_at_once)
        self._gate = gate or (lambda: own)
        self._now = now
        self._times: deque[float] = deque(maxlen=_MEASURED)

    @property
    def traits(self) -> Traits:
        """What it can do."""
        return self._dialect.traits

    @property
    def response_s(self) -> float:
        """The median time of the last requests that were answered, in seconds; 0 before any."""
        return median(self._times) if self._times else 0.0

    async def identify(self) -> Identity:
        """Ask who it is.

        Raises:
            DeviceError: it could not be asked. (``read`` raises it so, too.)
        """
        found = await self._converse(self._dialect.identify())
        return scrub.identity(found, self._transport.held)

    async def read(self, parts: frozenset[Part] = EVERYTHING) -> DeviceState:
        """Read its identity and the given parts; parts not asked for stand empty."""
        found = await self._converse(self._dialect.read(parts))
        return scrub.state(found, self._transport.held)

    async def write(self, step: Step, *more: Step) -> None:
        """Send one step's write, once; with ``more``, those of all of them in one request.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            PartlyRefused: the device answered for each of several steps apart.
            DeviceError: surely not done.
        """
        if not more:
            await self._converse(self._dialect.write(step))
            return
        assert isinstance(self._dialect, TakesBatches), "its traits name no batches"
        await self._converse(self._dialect.write_together((step, *more)))

    async def close(self) -> None:
        """Let go of its connections."""
        await self._transport.close()

    async def _converse(self, talk: Exchange[T]) -> T:
        async def ask(request: Request) -> Response:
            return await self._patience.send(request, self._once)

        return await play(talk, ask, self._transport.clean)

    async def _once(self, request: Request) -> Response:
        async with self._gate():
            start = self._now()
            response = await self._transport.send(request)
            self._times.append(self._now() - start)
            return response
