"""A kit that tries any adapter on a device: what each has to do, and what it must never do.

For whoever writes a plug-in, and for our own ways to speak. Make a :class:`Bench` (a device on the
bench, real or simulated, and how to make its life hard) and a class of tests::

    class TestFulmar(Conformance):
        def bench(self) -> AbstractContextManager[Bench]:
            return my_bench()

pytest, or unittest's runner by way of pytest, does the rest. A trouble that a bench can't cause
(``NotImplementedError``) is passed over as skipped, in so many words.
"""

import asyncio
import logging
import unittest
from collections.abc import Awaitable, Callable, Sequence
from contextlib import AbstractContextManager
from enum import StrEnum
from functools import partial
from typing import Protocol, Self, TypeVar

from orchestrator.adapters.http.redact import Redactor
from orchestrator.errors import (
    Broken,
    Busy,
    CutsheetError,
    DeviceError,
    OutcomeUnknown,
    Rejected,
    SignInRefused,
    Unreachable,
    words,
)
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.running.protocols import EVERYTHING, DeviceAdapter, Part
from orchestrator.running.value import Sight, sight

T = TypeVar("T")
_NEVER_WRITTEN = frozenset({StepKind.CONFIRM, StepKind.BY_HAND})
_CANCEL_S = 2.0
_STEP_S = 0.05


class Trouble(StrEnum):
    """What can be wrong with the device, as long as a bench makes it so."""

    AWAY = "nobody answers at its address"
    SIGN_IN = "it refuses the sign-in"
    REJECTS = "it refuses the next write, and says why"
    BUSY = "it asks to wait"
    NONSENSE = "its answers make no sense"
    UNANSWERED = "it takes a write, and the connection breaks before its answer"
    SILENT = "it takes connections and never answers"


class Bench(Protocol):
    """A device, and ways to make its life hard.

    ``identity`` is who it is, ``secret`` what signs in to it (None: nothing does). ``steps`` are
    writes that can be done one after the other: at least one of each kind that its traits name,
    each with what is there before it and what it wants.
    """

    identity: Identity
    secret: Secret | None
    steps: Sequence[Step]

    def adapter(self, at: str | None = None) -> DeviceAdapter:
        """A new adapter; ``at`` is the address, if not the one at which the device began."""
        ...

    def trouble(self, kind: Trouble) -> AbstractContextManager[None]:
        """Make this trouble as long as the block lasts.

        Raises:
            NotImplementedError: this bench can't.
        """
        ...


class Conformance:
    """What every adapter has to do. Derive a class of tests from it, and give it a bench."""

    def bench(self) -> AbstractContextManager[Bench]:
        """A bench with a device as it came; each test has one of its own."""
        raise NotImplementedError

    def test_it_says_who_it_is(self) -> None:
        """Its serial and model, as the device tells them."""
        with self.bench() as bench:
            assert _do(bench, lambda adapter: adapter.identify()) == bench.identity
            assert bench.identity.serial

    def test_it_reads_everything(self) -> None:
        """The whole state, the same twice, with the identity in it and at least one address."""
        with self.bench() as bench:
            first = _do(bench, lambda adapter: adapter.read())
            assert isinstance(first, DeviceState)
            assert first.identity == bench.identity
            assert first == _do(bench, lambda adapter: adapter.read())
            assert first.interfaces, "a device has an address, or it could not be asked"

    def test_it_reads_what_is_asked_for(self) -> None:
        """Each part alone is as in the whole; parts not asked for stand empty."""
        with self.bench() as bench:
            whole = _do(bench, lambda adapter: adapter.read())
            empty = DeviceState(identity=whole.identity, interfaces={})
            for part in Part:
                alone = _do(bench, partial(_read, parts=frozenset({part})))
                assert alone.identity == whole.identity
                for name in Part:
                    meant = whole if name is part else empty
                    assert getattr(alone, name) == getattr(meant, name), f"{name} of {part}"

    def test_the_bench_has_a_step_of_each_kind(self) -> None:
        """So that nothing that the traits promise goes untried."""
        with self.bench() as bench:
            promised = bench.adapter().traits.can - _NEVER_WRITTEN
            assert promised <= {step.kind for step in bench.steps}

    def test_each_step_is_done_and_read_back(self) -> None:
        """As found before it, as wanted after it, within the time that the traits say."""
        with self.bench() as bench:
            for step in bench.steps:
                seen = sight(step, _do(bench, lambda a: a.read(), step.at))
                expected = {Sight.AS_FOUND}
                if step.kind is StepKind.SAVE:
                    expected |= {Sight.WANTED, Sight.PARTLY}
                assert seen in expected, f"before {step.kind} of {step.subject}"
                _do(bench, partial(_write, step=step), step.at)
                _becomes(bench, step)

    def test_what_its_traits_do_not_name_is_refused(self) -> None:
        """Typed, and nothing is sent that could do something else."""
        with self.bench() as bench:
            can = bench.adapter().traits.can
            before = _do(bench, lambda adapter: adapter.read())
            for kind in set(StepKind) - can - _NEVER_WRITTEN:
                step = Step(
                    id="s", kind=kind, device="unit", at=bench.steps[0].at,
                    as_found=None, wanted=None, source="none", destination="none", setting="none",
                )  # fmt: skip
                _raises(Rejected, bench, partial(_write, step=step))
            assert _do(bench, lambda adapter: adapter.read()) == before

    def test_nobody_there(self) -> None:
        """A read and a write are unreachable: surely not done."""
        self._troubled(Trouble.AWAY, Unreachable, writes=Unreachable)

    def test_the_sign_in_is_refused(self) -> None:
        """Told as that, and not as something that may pass."""
        self._troubled(Trouble.SIGN_IN, SignInRefused, writes=SignInRefused)

    def test_a_write_is_refused(self) -> None:
        """With the device's words; nothing was changed."""
        with self.bench() as bench, _causing(bench, Trouble.REJECTS):
            step = bench.steps[0]
            error = _raises(Rejected, bench, lambda adapter: adapter.write(step))
            assert error.said
            assert sight(step, _do(bench, lambda adapter: adapter.read())) is Sight.AS_FOUND

    def test_busy(self) -> None:
        """Told as busy, so that a run waits and does not give up."""
        self._troubled(Trouble.BUSY, Busy, writes=Busy)

    def test_nonsense(self) -> None:
        """A read is broken. Of a write nobody knows; unless nonsense came before it was sent."""
        self._troubled(Trouble.NONSENSE, Broken, writes=(Broken, OutcomeUnknown, Unreachable))

    def test_a_write_without_an_answer(self) -> None:
        """Nobody knows: it may have been done, and only a read can tell."""
        with self.bench() as bench:
            step = bench.steps[0]
            with _causing(bench, Trouble.UNANSWERED):
                _raises(OutcomeUnknown, bench, lambda adapter: adapter.write(step))
            seen = _seen(bench, step, step.at)
            moves = step.kind is StepKind.READDRESS
            assert seen in {Sight.AS_FOUND, Sight.WANTED} or (moves and seen is None)

    def test_cancelled(self) -> None:
        """It lets go at once, and the device can be spoken to again."""
        with self.bench() as bench:
            with _causing(bench, Trouble.SILENT):
                asyncio.run(_cancelled(bench.adapter()))
            assert _do(bench, lambda adapter: adapter.identify()) == bench.identity

    def test_closed_twice(self) -> None:
        """That does no harm, before anything was said and after."""
        with self.bench() as bench:

            async def closed(adapter: DeviceAdapter) -> None:
                await adapter.close()

            _do(bench, closed)
            asyncio.run(_twice(bench.adapter()))

    def test_no_secret_is_shown(self) -> None:
        """Not in an error, a log or a repr, in no form, whatever is wrong."""
        with self.bench() as bench:
            if bench.secret is None:
                raise unittest.SkipTest("nothing signs in to this device")
            redact, shown = Redactor(bench.secret), [repr(bench.adapter())]
            with _Listening() as log:
                for kind in Trouble:
                    shown += _said_in(bench, kind)
                shown += log.lines
            for text in shown:
                assert redact(text) == text, "a secret is shown"

    def _troubled(
        self,
        kind: Trouble,
        reads: type[DeviceError],
        writes: type[DeviceError] | tuple[type[DeviceError], ...],
    ) -> None:
        with self.bench() as bench, _causing(bench, kind):
            _raises(reads, bench, lambda adapter: adapter.identify())
            _raises(reads, bench, lambda adapter: adapter.read())
            step = bench.steps[0]
            _raises(writes, bench, lambda adapter: adapter.write(step))


def _do(bench: Bench, act: Callable[[DeviceAdapter], Awaitable[T]], at: str | None = None) -> T:
    """Do something with a new adapter, and let go of it."""

    async def whole() -> T:
        adapter = bench.adapter(at)
        try:
            return await act(adapter)
        finally:
            await adapter.close()

    return asyncio.run(whole())


async def _read(adapter: DeviceAdapter, parts: frozenset[Part]) -> DeviceState:
    return await adapter.read(parts)


async def _write(adapter: DeviceAdapter, step: Step) -> None:
    await adapter.write(step)


def _raises(
    kinds: type[DeviceError] | tuple[type[DeviceError], ...],
    bench: Bench,
    act: Callable[[DeviceAdapter], Awaitable[object]],
) -> DeviceError:
    """See that it ends with one of these errors, in words that name device and address."""
    error: DeviceError | None = None
    try:
        _do(bench, act)
    except DeviceError as raised:
        error = raised
    assert error is not None, f"it went through, and {kinds} was expected"
    assert isinstance(error, kinds), f"{type(error).__name__}: {words(error).what}"
    assert error.device
    assert error.address
    return error


def _causing(bench: Bench, kind: Trouble) -> AbstractContextManager[None]:
    try:
        return bench.trouble(kind)
    except NotImplementedError:
        raise unittest.SkipTest(f"this bench can't cause it: {kind}") from None


def _becomes(bench: Bench, step: Step) -> None:
    """Wait until a step shows, as long as the traits say that it may take."""
    traits = bench.adapter().traits
    moves = step.kind is StepKind.READDRESS
    at = step.wanted.address if isinstance(step.wanted, AddressValue) else step.at
    left = (traits.settle_s if moves else traits.late_s + traits.save_s) + 1.0
    while True:
        seen = _seen(bench, step, at)
        saved = step.kind is StepKind.SAVE and seen is Sight.PARTLY
        if seen is Sight.WANTED or saved:
            return
        assert left > 0, f"after {step.kind} of {step.subject}: {seen}"
        asyncio.run(asyncio.sleep(_STEP_S))
        left -= _STEP_S


def _seen(bench: Bench, step: Step, at: str) -> Sight | None:
    try:
        return sight(step, _do(bench, lambda adapter: adapter.read(EVERYTHING), at))
    except Unreachable:
        return None


async def _cancelled(adapter: DeviceAdapter) -> None:
    asking = asyncio.ensure_future(adapter.identify())
    await asyncio.sleep(_STEP_S)
    asking.cancel()
    try:
        async with asyncio.timeout(_CANCEL_S):
            await asyncio.wait([asking])
        assert asking.cancelled(), "it did not stop when it was told to"
    finally:
        await adapter.close()


async def _twice(adapter: DeviceAdapter) -> None:
    await adapter.close()
    await adapter.close()


def _said_in(bench: Bench, kind: Trouble) -> list[str]:
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
                    _do(bench, act)
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


class _Listening(logging.Handler):
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
