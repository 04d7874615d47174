"""Doing one operation of a run on a real device: what was asked for in, what came of it out."""

from collections.abc import Awaitable, Callable, Sequence
from contextlib import AsyncExitStack

from orchestrator.adapters.http.messages import Party
from orchestrator.adapters.http.parts import one_by_one
from orchestrator.errors import (
    Broken,
    Busy,
    DeviceError,
    OtherHand,
    OutcomeUnknown,
    PartlyRefused,
    Rejected,
    SignInRefused,
    Unreachable,
    Untrusted,
    WrongDevice,
    words,
)
from orchestrator.facility.step import Step
from orchestrator.running.events import Failure
from orchestrator.running.operations import (
    Accepted,
    Answers,
    Apart,
    Ask,
    Elapsed,
    Look,
    Looked,
    Moment,
    Nobody,
    Outcome,
    Probe,
    Read,
    ReadClock,
    ReadFailed,
    Refused,
    Reply,
    Rest,
    Saw,
    Stranger,
    Unsure,
    Vacant,
    Wait,
    Write,
)
from orchestrator.running.parts import parts_of
from orchestrator.running.protocols import (
    Clock,
    DeviceAdapter,
    OpenAdapter,
    Person,
    ProbeAddress,
)

Deed = Read | Write | Probe | Wait | Ask | Look | Rest | ReadClock
"""What is done outside the ledger: every operation but a store."""

FAILURES: dict[type[DeviceError], Failure] = {
    Unreachable: Failure.UNREACHABLE,
    Untrusted: Failure.UNTRUSTED,
    SignInRefused: Failure.REFUSED,
    Rejected: Failure.REJECTED,
    OtherHand: Failure.OTHER_HAND,
    Busy: Failure.BUSY,
    Broken: Failure.BROKEN,
    OutcomeUnknown: Failure.UNKNOWN,
    PartlyRefused: Failure.REJECTED,
    WrongDevice: Failure.WRONG_DEVICE,
}
"""Every kind of device error as a step's failure."""

LookRound = Callable[[int], Awaitable[Sequence[str]]]
"""Reads and audits everything before a phase; gives what was found, in words."""


async def look_nowhere(_phase: int) -> Sequence[str]:
    """For runs whose go/no-go points audit nothing."""
    return ()


class Performer:
    """Does operations. It keeps one way open to each device at each address it is spoken to."""

    def __init__(
        self,
        open_adapter: OpenAdapter,
        probe: ProbeAddress,
        clock: Clock,
        person: Person,
        look: LookRound = look_nowhere,
    ) -> None:
        self._look = look
        self._open_adapter = open_adapter
        self._probe = probe
        self._clock = clock
        self._person = person
        self._adapters: dict[tuple[str, str], DeviceAdapter] = {}
        self._closing = AsyncExitStack()

    async def perform(  # noqa: PLR0911 - one return an operation
        self, operation: Deed
    ) -> Outcome:
        """Do ``operation`` once and say what came of it.

        An error that is no device's is a bug, and is raised.
        """
        match operation:
            case Read(step=step, at=at, rests=rests):
                return await self._read(step, at, rests)
            case Write(steps=steps, at=at):
                return await self._write(steps, at)
            case Probe(step=step, at=at):
                found = await self._probe(step.device, at)
                return Vacant() if found is None else Answers(found)
            case Wait(seconds=seconds) | Rest(seconds=seconds):
                await self._clock.sleep(seconds)
                return Elapsed()
            case Look(phase=phase):
                return Looked(tuple(await self._look(phase)))
            case ReadClock():
                return Moment(self._clock.now().isoformat())
            case Ask(question=question, text=text):
                go, by = await self._person.ask(question, text)
                return Reply(go, by)

    async def close(self) -> None:
        """Let go of every connection, even where one can't be."""
        self._adapters.clear()
        await self._closing.aclose()

    def _adapter(self, device: str, at: str) -> DeviceAdapter:
        if (device, at) not in self._adapters:
            adapter = self._open_adapter(device, at)
            self._closing.push_async_callback(adapter.close)
            self._adapters[device, at] = adapter
        return self._adapters[device, at]

    async def _read(self, step: Step, at: str, rests: Sequence[Step]) -> Outcome:
        parts = parts_of(step).union(*map(parts_of, rests))
        try:
            return Saw(await self._adapter(step.device, at).read(parts))
        except Unreachable as error:
            return Nobody(said(error))
        except WrongDevice as error:
            return Stranger(said(error))
        except DeviceError as error:
            return ReadFailed(FAILURES[type(error)], said(error), _retry_after(error))

    async def _write(self, steps: Sequence[Step], at: str) -> Outcome:
        adapter = self._adapter(steps[0].device, at)
        first, *more = steps
        try:
            if not more or adapter.traits.together([step.kind for step in steps]):
                await adapter.write(first, *more)
            else:  # a device that does not take them so any more
                await one_by_one(Party(device=first.device, address=at), steps, adapter.write)
        except PartlyRefused as error:
            refused = {name: _unwritten(each) for name, each in error.refused.items()}
            return Apart({step.id: refused.get(step.id, Accepted()) for step in steps})
        except DeviceError as error:
            return _unwritten(error)
        return Accepted()


def _unwritten(error: DeviceError) -> Refused | Unsure:
    if isinstance(error, OutcomeUnknown | Broken):
        return Unsure(said(error))  # a device that broke down over a write may have done it
    return Refused(FAILURES[type(error)], said(error), _retry_after(error))


def said(error: DeviceError) -> str:
    """The words for ``error``, as they are kept in the ledger."""
    return words(error).what


def _retry_after(error: DeviceError) -> float | None:
    return error.retry_after_s if isinstance(error, Busy) else None
