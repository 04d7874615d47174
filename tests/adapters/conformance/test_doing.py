"""How the kit does one thing with an adapter at a time: it has to see what is wrong."""

import asyncio
import logging
import unittest
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from typing import Any

import pytest

from orchestrator.adapters.conformance import Trouble
from orchestrator.adapters.conformance.doing import (
    Listening,
    becomes,
    cancelled,
    causing,
    do,
    look,
    raises,
    said_in,
)
from orchestrator.errors import Rejected, Unreachable
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import Step, StepKind
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import EVERYTHING, DeviceAdapter, Part
from orchestrator.running.steps.value import Sight
from tests.adapters.makes import a_step
from tests.adapters.ways_made import WHOLE, Answering

OFF = a_step(StepKind.DISABLE, wanted=False, source="mic")
AT = ("unit", "127.44.3.71", "doing something")


class Dead(Answering):
    """Nobody is there."""

    async def read(self, parts: frozenset[Part] = EVERYTHING) -> DeviceState:
        """Not reached."""
        del parts
        raise Unreachable(*AT)


class Stubborn(Answering):
    """It does not stop when it is told to."""

    async def identify(self) -> Identity:
        """Goes on."""
        try:
            await asyncio.sleep(5)
        except asyncio.CancelledError:
            return WHOLE.identity
        return WHOLE.identity


@dataclass
class OneAnswer:
    """A bench whose every adapter answers from a value."""

    opened: DeviceAdapter = field(default_factory=lambda: Answering(Traits(can=frozenset())))
    identity: Identity = WHOLE.identity
    secret: Secret | None = None
    steps: Sequence[Step] = (OFF,)
    together: Sequence[Sequence[Step]] = ()

    def adapter(self, at: str | None = None) -> DeviceAdapter:
        """The one."""
        del at
        return self.opened

    def trouble(self, kind: Trouble) -> AbstractContextManager[None]:
        """It can only be away."""
        if kind is not Trouble.AWAY:
            raise NotImplementedError
        return nothing()


@contextmanager
def nothing() -> Iterator[None]:
    """No trouble at all."""
    yield


def test_an_adapter_is_let_go_of() -> None:
    """Whatever came of it."""
    adapter = Answering(Traits(can=frozenset()))
    assert do(OneAnswer(adapter), lambda one: one.identify()) == WHOLE.identity
    assert adapter.asked[-1] == "close"


def test_an_error_that_does_not_come_or_is_another_one() -> None:
    """Both fail the test that wanted one."""
    with pytest.raises(AssertionError, match="it went through"):
        raises(Rejected, OneAnswer(), lambda one: one.identify())
    with pytest.raises(AssertionError, match="Unreachable"):
        raises(Rejected, OneAnswer(Dead(Traits(can=frozenset()))), lambda one: one.read())


def test_what_a_bench_can_not_cause_is_skipped() -> None:
    """And says so; whether it is told at once or on the way in."""
    with causing(OneAnswer(), Trouble.AWAY):
        pass
    with pytest.raises(unittest.SkipTest, match="asks to wait"), causing(OneAnswer(), Trouble.BUSY):
        pass
    assert said_in(OneAnswer(), Trouble.BUSY) == []


def test_a_step_that_never_shows() -> None:
    """The kit waits as long as the traits say, and no longer."""
    never = OneAnswer(Answering(Traits(can=frozenset(), late_s=0.0)))
    with pytest.raises(AssertionError, match="after disable"):
        becomes(never, a_step(StepKind.DISABLE, wanted=False, source="mic"))


def test_how_a_step_stands() -> None:
    """As it is read; nothing where nobody answers."""
    assert look(OneAnswer(), a_step(StepKind.ENABLE, wanted=True, source="mic"), AT[1]) is (
        Sight.WANTED
    )
    assert look(OneAnswer(Dead(Traits(can=frozenset()))), OFF, AT[1]) is None


def test_an_adapter_that_does_not_stop() -> None:
    """Is seen."""
    stubborn: Any = Stubborn(Traits(can=frozenset()))
    with pytest.raises(AssertionError, match="did not stop"):
        asyncio.run(cancelled(stubborn))


def test_every_log_record_is_heard() -> None:
    """Of any level, and no longer than the block."""
    with Listening() as log:
        logging.getLogger("somewhere").debug("a %s", "word")
    logging.getLogger("somewhere").debug("later")
    assert log.lines == ["a word"]
