"""Time, as the simulated world takes it: a function that tells seconds, real or moved by hand."""

from collections.abc import Callable

Clock = Callable[[], float]


class HandClock:
    """A clock that stands still until somebody moves it; its ``sleep`` moves it at once."""

    def __init__(self, now: float = 0.0) -> None:
        self._now = now

    def __call__(self) -> float:
        """Seconds, as far as the clock was moved."""
        return self._now

    def advance(self, seconds: float) -> None:
        """Move the clock on.

        Raises:
            ValueError: backwards.
        """
        if seconds < 0:
            raise ValueError("a clock does not go back")
        self._now += seconds

    async def sleep(self, seconds: float) -> None:
        """Pass the time without waiting for it."""
        self.advance(seconds)
