import asyncio

import pytest

from mocks.clock import HandClock


def test_moves_only_when_moved() -> None:
    """The clock stands until it is advanced; its sleep moves it at once; it never goes back."""
    clock = HandClock(5.0)
    assert clock() == clock() == 5.0
    clock.advance(1.5)
    asyncio.run(clock.sleep(0.5))
    assert clock() == 7.0
    with pytest.raises(ValueError, match="back"):
        clock.advance(-1)
