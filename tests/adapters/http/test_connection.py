"""One connection: what comes, in whatever parts, is one answer or an error."""

import asyncio

import httpx
import pytest

from orchestrator.adapters.http.connection import Answer, Connection

HEAD = b"HTTP/1.1 200 OK\r\nContent-Length: 4\r\n\r\n"
ASK = b"GET / HTTP/1.1\r\n\r\n"


class Way(asyncio.Transport):
    """The loop's side of a connection: what was written, and whether it is to be quiet."""

    def __init__(self) -> None:
        super().__init__()
        self.written: list[bytes] = []
        self.quiet = self.closed = False

    def write(self, data: bytes | bytearray | memoryview) -> None:
        """Keep it."""
        self.written.append(bytes(data))

    def pause_reading(self) -> None:
        """Read no more for now."""
        self.quiet = True

    def resume_reading(self) -> None:
        """Read on."""
        self.quiet = False

    def is_closing(self) -> bool:
        """Whether it was closed."""
        return self.closed

    def close(self) -> None:
        """Close it."""
        self.closed = True


def standing() -> tuple[Connection, Way]:
    """A connection that was just made."""
    connection, way = Connection(), Way()
    connection.connection_made(way)
    return connection, way


async def asked(*parts: bytes | Exception | None) -> tuple[Connection, Answer]:
    """Ask, and have ``parts`` come one after the other; None: the end, an error: it broke."""
    connection, way = standing()
    asking = asyncio.ensure_future(connection.ask(ASK, without_body=False))
    for part in parts:
        await asyncio.sleep(0)
        if isinstance(part, bytes):
            connection.data_received(part)
        elif part is None:
            connection.eof_received()
        else:
            connection.connection_lost(part)
    answer = await asking
    assert way.written == [ASK]
    return connection, answer


def test_an_answer_in_parts_is_one() -> None:
    """Split anywhere: between its lines and within them."""
    whole = HEAD + b"wave"
    for at in range(1, len(whole)):
        connection, answer = asyncio.run(asked(whole[:at], whole[at:]))
        assert (answer.status, answer.whole, b"".join(answer.parts)) == (200, True, b"wave")
        assert connection.again()


@pytest.mark.parametrize("end", [None, ConnectionResetError("reset")])
def test_a_whole_answer_counts_whatever_comes_after_it(end: Exception | None) -> None:
    """Even where all of it is there before anybody reads; but the connection is not used again."""
    connection, answer = asyncio.run(asked(HEAD + b"wave", end))
    assert answer.whole
    assert not connection.again()


@pytest.mark.parametrize(
    ("end", "kind"),
    [(None, httpx.RemoteProtocolError), (ConnectionResetError("reset"), httpx.ReadError)],
)
def test_half_an_answer_is_an_error(end: Exception | None, kind: type[Exception]) -> None:
    """Without a head at once; with one, to whoever reads the body."""
    with pytest.raises(kind):
        asyncio.run(asked(HEAD[:9], end))

    async def body() -> None:
        connection, answer = await asked(HEAD + b"wa", end)
        assert not answer.whole
        await connection.more(answer)

    with pytest.raises(kind):
        asyncio.run(body())


def test_a_body_that_only_the_end_ends() -> None:
    """RFC 9112, section 6.3: without a length it goes on until the connection ends."""

    async def body() -> Answer:
        connection, answer = await asked(b"HTTP/1.1 200 OK\r\n\r\nwa", None)
        while not answer.whole:
            await connection.more(answer)
        return answer

    assert b"".join(asyncio.run(body()).parts) == b"wa"


def test_a_device_that_says_much_is_told_to_wait_until_it_is_read() -> None:
    """Not more than a bounded part of a body waits here."""

    async def much() -> list[bool]:
        connection, way = standing()
        asking = asyncio.ensure_future(connection.ask(ASK, without_body=False))
        await asyncio.sleep(0)
        connection.data_received(b"HTTP/1.1 200 OK\r\nContent-Length: 900000\r\n\r\n")
        answer = await asking
        seen = []
        for _ in range(6):
            connection.data_received(b"x" * 60_000)
            seen.append(way.quiet)
        reading = asyncio.ensure_future(connection.more(answer))
        await asyncio.sleep(0)
        seen.append(way.quiet)
        reading.cancel()
        return seen

    assert asyncio.run(much()) == [False] * 4 + [True, True, False]


def test_a_head_has_an_end() -> None:
    """One that goes on and on is refused."""
    with pytest.raises(httpx.RemoteProtocolError, match="does not end"):
        asyncio.run(asked(b"HTTP/1.1 200 OK\r\nX: " + b"x" * 60_000, b"x" * 60_000))


def test_what_nobody_asked_for_ends_it() -> None:
    """A device that speaks first is not asked on that connection any more."""

    async def babble() -> tuple[bool, bool]:
        connection, way = standing()
        connection.data_received(b"HTTP/1.1 408 Too late\r\n\r\n")
        return connection.fresh(-1.0), way.closed

    assert asyncio.run(babble()) == (False, True)
