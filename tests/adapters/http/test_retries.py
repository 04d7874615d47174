import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import pytest

from orchestrator.adapters.http.messages import Request
from orchestrator.adapters.http.retries import Patience
from orchestrator.errors import (
    Broken,
    Busy,
    DeviceError,
    OutcomeUnknown,
    Rejected,
    SignInRefused,
    Unreachable,
)

READ = Request(method="GET", path="/x", doing="reading")
AT = ("rack-node", "127.0.0.1", "reading")


@dataclass
class World:
    """A clock that only waits move, and a device that fails as it is told, then answers."""

    failures: list[DeviceError]
    chance: float = 0.5
    takes_s: float = 0.0
    now: float = 0.0
    tries: int = 0
    waits: list[float] = field(default_factory=list)

    async def once(self, _request: Request) -> str:
        self.tries += 1
        self.now += self.takes_s
        if self.failures:
            raise self.failures.pop(0)
        return "answer"

    async def sleep(self, seconds: float) -> None:
        self.waits.append(seconds)
        self.now += seconds

    def patience(self, attempts: int = 3, seconds: float = 10.0) -> Patience:
        return Patience(
            attempts=attempts,
            seconds=seconds,
            sleep=self.sleep,
            chance=lambda: self.chance,
            now=lambda: self.now,
        )

    def send(self, request: Request = READ, attempts: int = 3, seconds: float = 10.0) -> str:
        return asyncio.run(self.patience(attempts, seconds).send(request, self.once))


@pytest.mark.parametrize("kind", [Unreachable, Busy, Broken])
def test_a_read_is_repeated(kind: Callable[..., DeviceError]) -> None:
    """What may pass is tried again."""
    world = World([kind(*AT), kind(*AT)])
    assert world.send() == "answer"
    assert world.tries == 3


@pytest.mark.parametrize("kind", [Rejected, SignInRefused, OutcomeUnknown])
def test_what_will_not_pass_is_not_repeated(kind: Callable[..., DeviceError]) -> None:
    """A refusal is an answer; a second wrong sign-in may lock an account."""
    world = World([kind(*AT)])
    with pytest.raises(DeviceError):
        world.send()
    assert world.tries == 1


@pytest.mark.parametrize("method", ["PUT", "PATCH", "POST", "DELETE"])
@pytest.mark.parametrize("kind", [Unreachable, Busy, Broken, OutcomeUnknown])
def test_a_write_is_never_repeated(method: str, kind: Callable[..., DeviceError]) -> None:
    """Not even where nothing was sent: that is for the run to decide."""
    world = World([kind(*AT)])
    with pytest.raises(DeviceError):
        world.send(Request(method=method, path="/x", doing="writing"))
    assert (world.tries, world.waits) == (1, [])


def test_tries_are_bounded() -> None:
    """The last error is the one that is told."""
    last = Unreachable(*AT, "the third")
    world = World([Unreachable(*AT), Unreachable(*AT), last, Unreachable(*AT)])
    with pytest.raises(Unreachable) as caught:
        world.send(attempts=3)
    assert caught.value is last
    assert world.tries == 3


def test_seconds_are_bounded() -> None:
    """No wait is begun that would end later; a device that fails slowly is tried less often."""
    world = World([Unreachable(*AT) for _ in range(99)], takes_s=4.0)
    with pytest.raises(Unreachable):
        world.send(attempts=50, seconds=10.0)
    assert world.tries == 3
    assert sum(world.waits) + 2 * 4.0 <= 10.0


@pytest.mark.parametrize("chance", [0.0, 0.5, 1.0])
def test_waits_grow_within_bounds_and_by_chance(chance: float) -> None:
    """Each wait is from half to all of what doubles each time, up to the most."""
    world = World([Unreachable(*AT) for _ in range(7)], chance=chance)
    world.send(attempts=8, seconds=1000.0)
    most = [0.25, 0.5, 1.0, 2.0, 4.0, 4.0, 4.0]
    assert world.waits == [seconds * (0.5 + chance / 2) for seconds in most]
    assert all(one <= other for one, other in pairwise(world.waits))


def test_a_device_that_asks_for_patience_gets_it() -> None:
    """Retry-After is what is waited, neither less nor more."""
    world = World([Busy(*AT, "", 7.0)])
    assert world.send() == "answer"
    assert world.waits == [7.0]


def test_too_much_patience_is_not_given() -> None:
    """A device that asks for longer than the bound is not asked again before that."""
    world = World([Busy(*AT, "", 3600.0)])
    with pytest.raises(Busy):
        world.send()
    assert (world.tries, world.waits) == (1, [])
