"""Repeats what is surely harmless to repeat: reads, never writes.

Waits grow from try to try, with chance in them so that many devices are not asked in step
(exponential back-off with jitter), and are bounded by tries and by seconds. A device that asks
for patience gets it, if it does not ask for too much.
"""

import asyncio
import random
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import TypeVar

from tenacity import AsyncRetrying, RetryCallState, retry_if_exception

from orchestrator.adapters.http.messages import Request
from orchestrator.errors import Broken, Busy, Unreachable

T = TypeVar("T")
_AGAIN = (Unreachable, Busy, Broken)


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How often and how long a read is repeated.

    ``attempts`` counts the first one too. ``seconds`` bounds the whole: no wait is begun that
    would end later. The first wait is at most ``first_s`` seconds, each further one at most twice
    the one before, none longer than ``most_s``; a device that asks for patience is given what it
    asks for, or not asked again. ``chance`` gives numbers from 0 to 1; ``now`` gives seconds.
    """

    attempts: int = 3
    seconds: float = 10.0
    first_s: float = 0.25
    most_s: float = 4.0
    sleep: Callable[[float], Awaitable[None]] = field(default=asyncio.sleep, repr=False)
    chance: Callable[[], float] = field(default=random.random, repr=False)
    now: Callable[[], float] = field(default=time.monotonic, repr=False)

    async def send(self, request: Request, once: Callable[[Request], Awaitable[T]]) -> T:
        """Do ``once(request)``, again if it reads and failed in a way that may pass.

        Raises:
            DeviceError: as ``once`` did the last time.
        """
        if not request.reads:
            return await once(request)
        end = self.now() + self.seconds
        try:
            return await once(request)  # nearly always enough
        except _AGAIN as error:
            first: list[Exception] = [error]

        async def then(request: Request) -> T:
            if first:
                raise first.pop()
            return await once(request)

        again = AsyncRetrying(
            retry=retry_if_exception(lambda error: isinstance(error, _AGAIN)),
            wait=self._wait,
            stop=lambda state: self._enough(state, end),
            sleep=self.sleep,
            reraise=True,
        )
        return await again(then, request)

    def _wait(self, state: RetryCallState) -> float:
        most = min(self.most_s, self.first_s * 2.0 ** (state.attempt_number - 1))
        asked = _asked(state)
        return asked if asked is not None else most * (0.5 + self.chance() / 2)

    def _enough(self, state: RetryCallState, end: float) -> bool:
        late = self.now() + state.upcoming_sleep > end
        return state.attempt_number >= self.attempts or late


def _asked(state: RetryCallState) -> float | None:
    """The seconds that the device asked for."""
    error = state.outcome.exception() if state.outcome else None
    return error.retry_after_s if isinstance(error, Busy) else None
