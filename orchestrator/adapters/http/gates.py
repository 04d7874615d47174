"""How many requests one device gets at once, however many adapters speak to it."""

from asyncio import AbstractEventLoop, Semaphore, get_running_loop
from collections.abc import Callable
from weakref import WeakKeyDictionary


class Gates:
    """Semaphores by device. Each event loop has its own, as semaphores can't be shared."""

    def __init__(self) -> None:
        self._loops: WeakKeyDictionary[AbstractEventLoop, dict[str, Semaphore]] = (
            WeakKeyDictionary()
        )

    def of(self, device: str, width: int) -> Callable[[], Semaphore]:
        """Give what gives the semaphore of ``device``, ``width`` wide, in the running loop."""

        def gate() -> Semaphore:
            held = self._loops.setdefault(get_running_loop(), {})
            own = held.get(device)
            if own is None:
                own = held[device] = Semaphore(width)
            return own

        return gate
