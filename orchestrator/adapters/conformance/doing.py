"""How the kit does one thing with an adapter at a time, and sees what came of it."""

import asyncio
import logging
import unittest
from collections.abc import Awaitable, Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from typing import Self, TypeVar

from orchestrator.adapters.conformance.bench import Bench, Trouble
from orchestrator.errors import CutsheetError, DeviceError, Unreachable, words
from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.running.protocols import EVERYTHING, DeviceAdapter, Part
from orchestrator.running.steps.value import Sight, sight

T = TypeVar("T")
_CANCEL_S = 2.0
_STEP_S = 0.05


def do(bench: Bench, act: Callable[[DeviceAdapter], Awaitable[T]], at: str | None = None) -> T:
    """Do something with a new adapter, and let go of it."""

    async def whole() -> T:
        adapter = bench.adapter(at)
        try:
            return await act(adapter)
        finally:
            await adapter.close()

    return asyncio.run(whole())


async def read(adapter: DeviceAdapter, parts: frozenset[Part]) -> DeviceState:
    """Read some parts."""
    return await adapter.read(parts)


async def write(adapter: DeviceAdapter, steps: Sequence[Step]) -> None:
    """Write one step, or several in one request."""
    await adapter.write(*steps)


def raises(
    kinds: type[DeviceError] | tuple[type[DeviceError], ...],
    bench: Bench,
    act: Callable[[DeviceAdapter], Awaitable[object]],
) -> DeviceError:
    """See that it ends with one of these errors, in words that name device and address."""
    error: DeviceError | None = None
    try:
        do(bench, act)
    except DeviceError as raised:
        error = raised
    assert error is not None, f"it went through, and {kinds} was expected"
    assert isinstance(error, kinds), f"{type(error).__name__}: {words(error).what}"
    assert error.device
    assert error.address
    return error


@contextmanager
def causing(bench: Bench, kind: Trouble) -> Iterator[None]:
    """Make a trouble as long as the block lasts; where a bench can't, the test is skipped."""
    with ExitStack() as stack:
        try:
            stack.enter_context(bench.trouble(kind))
        except NotImplementedError:
            raise unittest.SkipTest(f"this bench can't cause it: {kind}") from None
        yield


def becomes(bench: Bench, step: Step) -> None:
    """Wait until a step shows, as long as the traits say that it may take."""
    traits = bench.adapter().traits
    moves = step.kind is StepKind.READDRESS
    at = step.wanted.address if isinstance(step.wanted, AddressValue) else step.at
    left = (traits.settle_s if moves else traits.late_s + traits.save_s) + 1.0
    while True:
        seen = look(bench, step, at)
        saved = step.kind is StepKind.SAVE and seen is Sight.PARTLY
        if seen is Sight.WANTED or saved:
            return
        assert left > 0, f"after {step.kind} of {step.subject}: {seen}"
        asyncio.run(asyncio.sleep(_STEP_S))
        left -= _STEP_S


def look(bench: Bench, step: Step, at: str) -> Sight | None:
    """How a step stands now; None: nobody answers."""
    try:
        return sight(step, do(bench, lambda adapter: adapter.read(EVERYTHING), at))
    except Unreachable:
        return None


async def cancelled(adapter: DeviceAdapter) -> None:
    """Ask, and stop it in the middle."""
    asking = asyncio.ensure_future(adapter.identify())
    await asyncio.sleep(_STEP_S)
    asking.cancel()
    try:
        async with asyncio.timeout(_CANCEL_S):
            await asyncio.wait([asking])
        assert asking.cancelled(), "it did not stop when it was told to"
    finally:
        await adapter.close()


async def twice(adapter: DeviceAdapter) -> None:
    """Close it twice."""
    await adapter.close()
    await adapter.close()


def said_in(bench: Bench, kind: Trouble) -> list[str]:
    """All that is said when everything is done once in a trouble; none where it can't be caused."""
    step = bench.steps[0]
    acts: list[Callable[[DeviceAdapter], Awaitable[object]]] = [
        lambda adapter: adapter.read(),
        lambda adapter: adapter.write(step),
    ]
    said: list[str] = []
    if kind is Trouble.SILENT:
        return said  # it would only take time
    try:
        with bench.trouble(kind):
            for act in acts:
                try:
                    do(bench, act)
                except CutsheetError as error:
                    said += [str(error), repr(error), *_causes(error), words(error).what]
    except NotImplementedError:
        return said
    return said


def _causes(error: BaseException) -> list[str]:
    found = []
    cause = error.__cause__ or error.__context__
    while cause is not None:
        found.append(f"{cause!r} {cause}")
        cause = cause.__cause__ or cause.__context__
    return found


class Listening(logging.Handler):
    """Hears every log record, as long as the block lasts."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.lines: list[str] = []
        self._level = logging.WARNING

    def emit(self, record: logging.LogRecord) -> None:
        """Keep what is logged."""
        self.lines.append(record.getMessage())

    def __enter__(self) -> Self:
        root = logging.getLogger()
        self._level = root.level
        root.setLevel(logging.DEBUG)
        root.addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        root = logging.getLogger()
        root.removeHandler(self)
        root.setLevel(self._level)
