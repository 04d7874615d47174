"""The kit itself: what every adapter has to do, and what it must never do."""

import asyncio
import unittest
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import partial

from orchestrator.adapters.conformance.bench import Bench, Trouble
from orchestrator.adapters.conformance.doing import (
    Listening,
    becomes,
    cancelled,
    causing,
    do,
    look,
    raises,
    read,
    said_in,
    twice,
    write,
)
from orchestrator.adapters.http.redact import Redactor
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
)
from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import Step, StepKind
from orchestrator.running.protocols import DeviceAdapter, Part
from orchestrator.running.steps.value import Sight, sight

NEVER_WRITTEN = frozenset({StepKind.CONFIRM, StepKind.BY_HAND})


class Conformance:
    """What every adapter has to do. Derive a class of tests from it, and give it a bench."""

    def bench(self) -> AbstractContextManager[Bench]:
        """A bench with a device as it came; each test has one of its own."""
        raise NotImplementedError

    def test_it_says_who_it_is(self) -> None:
        """Its serial and model, as the device tells them."""
        with self.bench() as bench:
            assert do(bench, lambda adapter: adapter.identify()) == bench.identity
            assert bench.identity.serial

    def test_it_reads_everything(self) -> None:
        """The whole state, the same twice, with the identity in it and at least one address."""
        with self.bench() as bench:
            first = do(bench, lambda adapter: adapter.read())
            assert isinstance(first, DeviceState)
            assert first.identity == bench.identity
            assert first == do(bench, lambda adapter: adapter.read())
            assert first.interfaces, "a device has an address, or it could not be asked"

    def test_it_reads_what_is_asked_for(self) -> None:
        """Each part alone is as in the whole; parts not asked for stand empty."""
        with self.bench() as bench:
            whole = do(bench, lambda adapter: adapter.read())
            empty = DeviceState(identity=whole.identity, interfaces={})
            for part in Part:
                alone = do(bench, partial(read, parts=frozenset({part})))
                assert alone.identity == whole.identity
                for name in Part:
                    meant = whole if name is part else empty
                    assert getattr(alone, name) == getattr(meant, name), f"{name} of {part}"

    def test_the_bench_has_a_step_of_each_kind(self) -> None:
        """So that nothing that the traits promise goes untried."""
        with self.bench() as bench:
            promised = bench.adapter().traits.can - NEVER_WRITTEN
            assert promised <= {step.kind for step in bench.steps}

    def test_each_step_is_done_and_read_back(self) -> None:
        """As found before it, as wanted after it, within the time that the traits say."""
        with self.bench() as bench:
            for step in bench.steps:
                seen = sight(step, do(bench, lambda a: a.read(), step.at))
                expected = {Sight.AS_FOUND}
                if step.kind is StepKind.SAVE:
                    expected |= {Sight.WANTED, Sight.PARTLY}
                assert seen in expected, f"before {step.kind} of {step.subject}"
                do(bench, partial(write, steps=(step,)), step.at)
                becomes(bench, step)

    def test_the_bench_has_steps_for_each_batch(self) -> None:
        """So that no batch that the traits promise goes untried, and none is tried unpromised."""
        with self.bench() as bench:
            traits, groups = bench.adapter().traits, bench.together
            for batch in traits.batches:
                assert any({step.kind for step in steps} <= batch.kinds for steps in groups)
            for steps in groups:
                assert len({step.id for step in steps}) == len(steps) > 1
                assert traits.together([step.kind for step in steps])

    def test_steps_of_one_request_are_done_and_read_back(self) -> None:
        """All of them, as if each had been sent alone."""
        with self.bench() as bench, self._batching(bench):
            for steps in bench.together:
                do(bench, partial(write, steps=steps), steps[0].at)
                for step in steps:
                    becomes(bench, step)

    def test_a_part_of_one_request_is_refused(self) -> None:
        """With the device's words; the others are done, or none is and the whole is refused."""
        with self.bench() as bench, self._batching(bench), causing(bench, Trouble.PART):
            first, *others = steps = bench.together[0]
            kinds = (PartlyRefused, Rejected)
            error = raises(kinds, bench, partial(write, steps=steps))
            apart = isinstance(error, PartlyRefused)
            if isinstance(error, PartlyRefused):
                assert error.refused.keys() == {first.id}
                error = error.refused[first.id]
            assert error.said
            assert look(bench, first, first.at) is Sight.AS_FOUND
            for step in others:
                if apart:
                    becomes(bench, step)
                else:
                    assert look(bench, step, step.at) is Sight.AS_FOUND

    def test_several_writes_without_an_answer(self) -> None:
        """Nobody knows of any of them."""
        with self.bench() as bench, self._batching(bench), causing(bench, Trouble.UNANSWERED):
            raises(OutcomeUnknown, bench, partial(write, steps=bench.together[0]))

    @contextmanager
    def _batching(self, bench: Bench) -> Iterator[None]:
        """Only for a device that takes several steps in one request."""
        if not bench.adapter().traits.batches:
            raise unittest.SkipTest("this device takes one step a request")
        yield

    def test_what_its_traits_do_not_name_is_refused(self) -> None:
        """Typed, and nothing is sent that could do something else."""
        with self.bench() as bench:
            can = bench.adapter().traits.can
            before = do(bench, lambda adapter: adapter.read())
            for kind in set(StepKind) - can - NEVER_WRITTEN:
                step = Step(
                    id="s", kind=kind, device="unit", at=bench.steps[0].at,
                    as_found=None, wanted=None, source="none", destination="none", setting="none",
                )  # fmt: skip
                raises(Rejected, bench, partial(write, steps=(step,)))
            assert do(bench, lambda adapter: adapter.read()) == before

    def test_nobody_there(self) -> None:
        """A read and a write are unreachable: surely not done."""
        self._troubled(Trouble.AWAY, Unreachable, writes=Unreachable)

    def test_the_sign_in_is_refused(self) -> None:
        """Told as that, and not as something that may pass."""
        self._troubled(Trouble.SIGN_IN, SignInRefused, writes=SignInRefused)

    def test_a_write_is_refused(self) -> None:
        """With the device's words; nothing was changed."""
        with self.bench() as bench, causing(bench, Trouble.REJECTS):
            step = bench.steps[0]
            error = raises(Rejected, bench, lambda adapter: adapter.write(step))
            assert error.said
            assert sight(step, do(bench, lambda adapter: adapter.read())) is Sight.AS_FOUND

    def test_busy(self) -> None:
        """Told as busy, so that a run waits and does not give up."""
        self._troubled(Trouble.BUSY, Busy, writes=Busy)

    def test_another_hand(self) -> None:
        """Told as that, and nothing is overwritten."""
        with self.bench() as bench:
            step = bench.steps[0]
            with causing(bench, Trouble.OTHER_HAND):
                raises(OtherHand, bench, lambda adapter: adapter.write(step))
            assert look(bench, step, step.at) is not Sight.WANTED

    def test_nonsense(self) -> None:
        """A read is broken. Of a write nobody knows; unless nonsense came before it was sent."""
        self._troubled(Trouble.NONSENSE, Broken, writes=(Broken, OutcomeUnknown, Unreachable))

    def test_a_write_without_an_answer(self) -> None:
        """Nobody knows: it may have been done, and only a read can tell."""
        with self.bench() as bench:
            step = bench.steps[0]
            with causing(bench, Trouble.UNANSWERED):
                raises(OutcomeUnknown, bench, lambda adapter: adapter.write(step))
            seen = look(bench, step, step.at)
            moves = step.kind is StepKind.READDRESS
            assert seen in {Sight.AS_FOUND, Sight.WANTED} or (moves and seen is None)

    def test_cancelled(self) -> None:
        """It lets go at once, and the device can be spoken to again."""
        with self.bench() as bench:
            with causing(bench, Trouble.SILENT):
                asyncio.run(cancelled(bench.adapter()))
            assert do(bench, lambda adapter: adapter.identify()) == bench.identity

    def test_closed_twice(self) -> None:
        """That does no harm, before anything was said and after."""
        with self.bench() as bench:

            async def closed(adapter: DeviceAdapter) -> None:
                await adapter.close()

            do(bench, closed)
            asyncio.run(twice(bench.adapter()))

    def test_no_secret_is_shown(self) -> None:
        """Not in an error, a log or a repr, in no form, whatever is wrong."""
        with self.bench() as bench:
            if bench.secret is None:
                raise unittest.SkipTest("nothing signs in to this device")
            redact, shown = Redactor(bench.secret), [repr(bench.adapter())]
            with Listening() as log:
                for kind in Trouble:
                    shown += said_in(bench, kind)
                shown += log.lines
            for text in shown:
                assert redact(text) == text, "a secret is shown"

    def _troubled(
        self,
        kind: Trouble,
        reads: type[DeviceError],
        writes: type[DeviceError] | tuple[type[DeviceError], ...],
    ) -> None:
        with self.bench() as bench, causing(bench, kind):
            raises(reads, bench, lambda adapter: adapter.identify())
            raises(reads, bench, lambda adapter: adapter.read())
            step = bench.steps[0]
            raises(writes, bench, lambda adapter: adapter.write(step))
