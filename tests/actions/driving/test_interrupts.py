"""Ctrl-C."""

import asyncio
import os
import signal

from orchestrator.actions.driving.interrupts import AT_ONCE, PAUSE, Interrupts, listening


def test_presses_are_counted_to_two() -> None:
    """The first asks to pause, the second to stop at once, a third changes nothing."""

    async def main() -> list[int]:
        interrupts, seen = Interrupts(), []
        for _ in range(3):
            interrupts.press()
            await interrupts.next()
            seen.append(interrupts.presses)
        return seen

    assert asyncio.run(main()) == [PAUSE, AT_ONCE, AT_ONCE]


def test_a_signal_presses_and_the_old_handler_comes_back() -> None:
    """SIGINT is ours only while the run lasts."""
    before = signal.getsignal(signal.SIGINT)

    async def main() -> int:
        interrupts = Interrupts()
        with listening(interrupts):
            os.kill(os.getpid(), signal.SIGINT)
            await asyncio.wait_for(interrupts.next(), 5)
        return interrupts.presses

    async def beside() -> int:
        return await asyncio.to_thread(asyncio.run, main_without_signal())

    async def main_without_signal() -> int:
        with listening(Interrupts()):
            return 0

    assert asyncio.run(main()) == PAUSE
    assert asyncio.run(beside()) == 0
    assert signal.getsignal(signal.SIGINT) is not None
    if callable(before):
        assert signal.getsignal(signal.SIGINT) == before
