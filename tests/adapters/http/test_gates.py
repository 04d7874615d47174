import asyncio

from orchestrator.adapters.http.gates import Gates


def test_one_device_has_one_gate() -> None:
    """However many adapters ask; another device has its own."""

    async def whole() -> None:
        gates = Gates()
        assert gates.of("a", 1)() is gates.of("a", 1)()
        assert gates.of("a", 1)() is not gates.of("b", 1)()

    asyncio.run(whole())


def test_a_second_event_loop_has_its_own() -> None:
    """One opener serves a survey and then a run, each in a loop of its own, waits included."""
    gates = Gates()

    async def crowd() -> int:
        most = now = 0

        async def pass_through() -> None:
            nonlocal most, now
            async with gates.of("a", 2)():
                now += 1
                most = max(most, now)
                await asyncio.sleep(0)
                now -= 1

        await asyncio.gather(*(pass_through() for _ in range(9)))
        return most

    assert [asyncio.run(crowd()), asyncio.run(crowd())] == [2, 2]
