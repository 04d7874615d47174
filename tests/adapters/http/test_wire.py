"""HTTP over a socket: connections are kept, made anew, and their failures are httpx's errors."""

import asyncio
import ssl
from collections.abc import Awaitable, Callable
from typing import Any, TypeVar

import httpx
import pytest

from orchestrator.adapters.http.wire import Wire
from tests.adapters.servers import Talk, answering, http, serving

T = TypeVar("T")
Ask = Callable[..., Awaitable[httpx.Response]]


def over(talk: Talk, ask: Callable[[Ask], Awaitable[T]], **more: Any) -> tuple[T, list[int], int]:
    """Do ``ask`` with a client on a wire; gives its result, each request's port, and what came."""
    ports: list[int] = []

    async def noting(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        ports.append(writer.get_extra_info("peername")[1])
        await talk(reader, writer)

    async def whole() -> tuple[T, list[int], int]:
        async with serving(noting) as server:
            base = f"http://127.0.0.1:{server.port}"
            wire = Wire(ssl.create_default_context(), **more)
            async with httpx.AsyncClient(transport=wire, base_url=base) as client:

                async def one(path: str = "/x", method: str = "GET", **more: Any) -> httpx.Response:
                    return await client.request(method, path, **more)

                return await ask(one), ports, len(server.heard)

    return asyncio.run(whole())


def test_a_connection_is_kept() -> None:
    """Three requests, one connection; each answer is whole."""

    async def three(one: Ask) -> list[bytes]:
        return [(await one()).content for _ in range(3)]

    bodies, ports, _ = over(answering(http(b"a"), http(b"bc"), http(b"")), three)
    assert bodies == [b"a", b"bc", b""]
    assert len(set(ports)) == 1


def test_a_connection_that_was_idle_too_long_is_made_anew() -> None:
    """And so is one that the device closed, or on which it said something unasked."""

    async def two(one: Ask) -> int:
        await one()
        await asyncio.sleep(0.05)
        return (await one()).status_code

    async def babbling(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(http() + b"more")
        await writer.drain()

    async def answering_twice(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(http() + http(b"", "404 Not Found"))
        await writer.drain()

    for talk, more in (
        (answering(http()), {"kept_open_s": 0.01}),
        (answering(http(), then_close=True), {}),
        (babbling, {}),
        (answering_twice, {}),
        (answering(http(b"{}", "200 OK", "Connection: close")), {}),
    ):
        status, ports, _ = over(talk, two, **more)
        assert status == 200
        assert len(set(ports)) == 2


def test_two_at_once_have_a_connection_each() -> None:
    """Neither waits for the other."""

    async def slow(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(0.05)
        writer.write(http())

    async def two(one: Ask) -> list[int]:
        return [answer.status_code for answer in await asyncio.gather(one(), one())]

    statuses, ports, _ = over(slow, two)
    assert statuses == [200, 200]
    assert len(set(ports)) == 2


def test_bodies_both_ways() -> None:
    """A body is sent with its length; an answer in chunks, or up to the end, is put together."""
    chunked = (
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nabc\r\n1\r\nd\r\n0\r\n\r\n"
    )
    to_the_end = b"HTTP/1.1 200 OK\r\n\r\nabcd"
    interim = b"HTTP/1.1 103 Early Hints\r\n\r\n" + http(b"abcd")

    async def send(one: Ask) -> bytes:
        return (await one(method="PUT", content=b"x" * 100_000)).content

    for answer, closes in ((chunked, False), (to_the_end, True), (interim, False)):
        body, _, heard = over(answering(answer, then_close=closes), send)
        assert body == b"abcd"
        assert heard == 1


@pytest.mark.parametrize(
    ("answer", "kind"),
    [
        (b"", httpx.RemoteProtocolError),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nhalf", httpx.RemoteProtocolError),
        (b"HTTP/1.1 200 OK\r\nContent-", httpx.RemoteProtocolError),
        (b"220 mail.invalid ready\r\n", httpx.RemoteProtocolError),
        (b"HTTP/1.1 200 OK\r\nX: " + b"x" * 200_000, httpx.RemoteProtocolError),
    ],
)
def test_what_is_no_answer(answer: bytes, kind: type[Exception]) -> None:
    """Nothing, half of it, or something else: an error after the request may have been sent."""

    async def fails(one: Ask) -> None:
        with pytest.raises(kind):
            await one()

    assert over(answering(answer, then_close=True), fails)[2] == 1


def test_a_header_can_not_become_two() -> None:
    """The end of a line inside a value is refused, and nothing is sent (RFC 9110, 5.5)."""

    async def fails(one: Ask) -> None:
        with pytest.raises(httpx.LocalProtocolError):
            await one(headers={"X-Thing": "a\r\nX-Other: b"})

    assert over(answering(http()), fails)[2] == 0


def test_an_answer_without_a_body() -> None:
    """The answer to HEAD tells a length and has no body (RFC 9110, 9.3.2); nor has a 204."""

    async def head(one: Ask) -> bytes:
        return (await one(method="HEAD")).content

    answer = b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\n"
    assert over(answering(answer), head)[0] == b""
    assert over(answering(b"HTTP/1.1 204 No Content\r\n\r\n"), head)[0] == b""


def test_nobody_there() -> None:
    """A refused connection is a ConnectError with the refusal at its bottom; so is a bad name."""

    async def whole() -> None:
        async with httpx.AsyncClient(transport=Wire(ssl.create_default_context())) as client:
            with pytest.raises(httpx.ConnectError) as caught:
                await client.get("http://127.0.0.1:9/")
            assert isinstance(caught.value.__cause__, ConnectionRefusedError)
            with pytest.raises(httpx.ConnectError):
                await client.get("http://nobody.invalid/")

    asyncio.run(whole())


def test_how_far_it_got_is_noted() -> None:
    """Connecting, then sending; on a kept connection sending alone."""
    seen: list[str] = []

    async def note(event: str, _info: dict[str, Any]) -> None:
        await asyncio.sleep(0)
        seen.append(event.partition(".")[2])

    async def two(one: Ask) -> None:
        await one(extensions={"trace": note})
        await one(extensions={"trace": note})

    over(answering(http()), two)
    send = "send_request_headers.started"
    assert seen == ["connect_tcp.started", send, send]
