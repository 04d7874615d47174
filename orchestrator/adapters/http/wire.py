"""HTTP/1.1 to one device over its connections.

A plant is written to 64 devices at a time, each of which answers within milliseconds; then the
computer's own work for each request is what a run takes. httpx's own way to the network does that
work many times over (its pool and locks are made for thousands of hosts); one device needs a
connection or two. Requests, answers and errors are httpx's, so that one table says what each of
them means.
"""

import asyncio
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

import httpx

from orchestrator.adapters.http.connection import Answer, Connection

KEPT_OPEN_S = 2.0
"""Seconds for which a connection that is not used is kept; devices close theirs soon."""

_Note = Callable[[str, dict[str, Any]], Awaitable[None]]


class Wire(httpx.AsyncBaseTransport):
    """Connections to one device; ``tls`` is what its certificate is judged by."""

    def __init__(self, tls: ssl.SSLContext, kept_open_s: float = KEPT_OPEN_S) -> None:
        self._tls = tls
        self._kept_open_s = kept_open_s
        self._idle: list[Connection] = []
        self._open: set[Connection] = set()

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Send ``request`` and give its answer; a body that has not come yet is read as it comes.

        Raises:
            httpx.ConnectError: there is no connection; nothing was sent.
            httpx.TransportError: the request may have been sent.
        """
        note: _Note = request.extensions.get("trace", _silent)
        connection = self._kept() or await self._connect(request, note)
        try:
            await note("http11.send_request_headers.started", {})
            data = await _sent(request)
            answer = await connection.ask(data, without_body=request.method == "HEAD")
        except BaseException:
            self._drop(connection)
            raise
        body: httpx.AsyncByteStream
        if answer.whole:
            body = httpx.ByteStream(b"".join(answer.parts))
            self._done(connection)
        else:
            body = _Body(connection, answer, self._done)
        return httpx.Response(
            answer.status,
            headers=answer.headers,
            stream=body,
            extensions={"http_version": b"HTTP/" + answer.version},
        )

    async def aclose(self) -> None:
        """Close every connection."""
        for connection in tuple(self._open):
            self._drop(connection)

    def _kept(self) -> Connection | None:
        now = asyncio.get_running_loop().time()
        while self._idle:
            connection = self._idle.pop()
            if connection.fresh(now - self._kept_open_s):
                return connection
            self._drop(connection)
        return None

    async def _connect(self, request: httpx.Request, note: _Note) -> Connection:
        await note("connection.connect_tcp.started", {})
        url = request.url
        secure = url.scheme == "https"
        name = request.extensions.get("sni_hostname") or url.host
        port = url.port or (443 if secure else 80)
        try:
            if secure:
                self._tls.set_alpn_protocols(["http/1.1"])
            _, connection = await asyncio.get_running_loop().create_connection(
                Connection,
                url.host,
                port,
                ssl=self._tls if secure else None,
                server_hostname=name if secure else None,
            )
        except (OSError, ValueError) as error:
            raise httpx.ConnectError(str(error), request=request) from error
        self._open.add(connection)
        return connection

    def _done(self, connection: Connection) -> None:
        """Keep the connection, if both sides may go on with it."""
        if connection.again():
            self._idle.append(connection)
        else:
            self._drop(connection)

    def _drop(self, connection: Connection) -> None:
        self._open.discard(connection)
        connection.close()


class _Body(httpx.AsyncByteStream):
    """The body of an answer; ``done`` is told when it is whole, or given up."""

    def __init__(
        self, connection: Connection, answer: Answer, done: Callable[[Connection], None]
    ) -> None:
        self._connection = connection
        self._answer = answer
        self._done = done
        self._over = False

    async def __aiter__(self) -> AsyncIterator[bytes]:
        answer = self._answer
        while True:
            parts, answer.parts = answer.parts, []
            if parts:
                yield b"".join(parts)  # meanwhile more may come
            elif answer.whole:
                break
            else:
                await self._connection.more(answer)
        await self.aclose()

    async def aclose(self) -> None:
        """Let go of the connection; it is kept if the body was read to its end."""
        if not self._over:
            self._over = True
            self._done(self._connection)


async def _sent(request: httpx.Request) -> bytes:
    """``request`` as it is sent.

    Raises:
        httpx.LocalProtocolError: it can't be put into HTTP.
    """
    data = _head(request)
    if isinstance(request.stream, httpx.ByteStream):
        return data + b"".join(request.stream)
    if isinstance(request.stream, httpx.AsyncByteStream):
        data += b"".join([part async for part in request.stream])
    return data


def _head(request: httpx.Request) -> bytes:
    """The head of ``request`` as it is sent (RFC 9112, sections 3 and 5).

    Raises:
        httpx.LocalProtocolError: a line of it would be two.
    """
    lines = [request.method.encode("ascii") + b" " + request.url.raw_path + b" HTTP/1.1"]
    lines += [name + b": " + value for name, value in request.headers.raw]
    head = b"\r\n".join([*lines, b"", b""])
    ends = len(lines) + 1
    if head.count(b"\r") != ends or head.count(b"\n") != ends or b"\0" in head:
        raise httpx.LocalProtocolError("a header holds the end of a line", request=request)
    return head


async def _silent(_event: str, _info: dict[str, Any]) -> None:
    """For requests that nobody follows."""
