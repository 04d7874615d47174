"""HTTP/1.1 to one device over a socket: a parser (llhttp, by httptools) on asyncio's streams.

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

import httptools
import httpx

KEPT_OPEN_S = 2.0
"""Seconds for which a connection that is not used is kept; devices close theirs soon."""

_CHUNK = 65536
_LONGEST_HEAD = 100 * 1024
_FIRST_FINAL = 200
_IS_NO_HTTP = (httptools.HttpParserError, httptools.HttpParserUpgrade)
_Note = Callable[[str, dict[str, Any]], Awaitable[None]]


class _Unasked(Exception):
    """More is said than was asked for. Stays inside this module."""


class Wire(httpx.AsyncBaseTransport):
    """Connections to one device; ``tls`` is what its certificate is judged by."""

    def __init__(self, tls: ssl.SSLContext, kept_open_s: float = KEPT_OPEN_S) -> None:
        self._tls = tls
        self._kept_open_s = kept_open_s
        self._idle: list[_Connection] = []
        self._open: set[_Connection] = set()

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
            answer = await connection.ask(request)
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

    def _kept(self) -> "_Connection | None":
        now = asyncio.get_running_loop().time()
        while self._idle:
            connection = self._idle.pop()
            if connection.fresh(now - self._kept_open_s):
                return connection
            self._drop(connection)
        return None

    async def _connect(self, request: httpx.Request, note: _Note) -> "_Connection":
        await note("connection.connect_tcp.started", {})
        url = request.url
        secure = url.scheme == "https"
        name = request.extensions.get("sni_hostname") or url.host
        port = url.port or (443 if secure else 80)
        try:
            if secure:
                self._tls.set_alpn_protocols(["http/1.1"])
            reader, writer = await asyncio.open_connection(
                url.host,
                port,
                ssl=self._tls if secure else None,
                server_hostname=name if secure else None,
            )
        except (OSError, ValueError) as error:
            raise httpx.ConnectError(str(error), request=request) from error
        connection = _Connection(reader, writer)
        self._open.add(connection)
        return connection

    def _done(self, connection: "_Connection") -> None:
        """Keep the connection, if both sides may go on with it."""
        if connection.again():
            self._idle.append(connection)
        else:
            self._drop(connection)

    def _drop(self, connection: "_Connection") -> None:
        self._open.discard(connection)
        connection.close()


class _Answer:
    """One answer as far as it has come; the parser calls the methods that begin with ``on_``.

    ``parts`` are those of the body that nobody has taken yet. An interim answer (RFC 9110, 15.2)
    leaves no trace. ``stays``: the connection may be used for another request after it.
    """

    def __init__(self, *, without_body: bool) -> None:
        self.parser = httptools.HttpResponseParser(self)
        self.headers: list[tuple[bytes, bytes]] = []
        self.parts: list[bytes] = []
        self.status = 0
        self.version = b""
        self.begun = False
        self.whole = False
        self.stays = False
        self._without_body = without_body

    def on_message_begin(self) -> None:
        if self.whole:
            raise _Unasked
        self.headers = []

    def on_header(self, name: bytes, value: bytes) -> None:
        self.headers.append((name, value))

    def on_headers_complete(self) -> None:
        self.status = self.parser.get_status_code()
        self.version = self.parser.get_http_version().encode()
        self.begun = self.status >= _FIRST_FINAL
        self.whole |= self.begun and self._without_body

    def on_body(self, body: bytes) -> None:
        self.parts.append(body)

    def on_message_complete(self) -> None:
        self.whole |= self.begun
        self.stays = self.begun and self.parser.should_keep_alive()

    def take(self, data: bytes) -> None:
        """Take what has come next.

        Raises:
            httpx.RemoteProtocolError: it is no HTTP.
        """
        try:
            self.parser.feed_data(data)
        except _IS_NO_HTTP as error:
            if not self.whole:
                raise httpx.RemoteProtocolError(str(error)) from error
            self.stays = False  # it says what nobody asked

    def end(self) -> None:
        """The connection has ended: so has a body that only that ends (RFC 9112, 6.3).

        Raises:
            httpx.RemoteProtocolError: something is lacking.
        """
        names = {name.lower() for name, _ in self.headers}
        if not self.begun or names & {b"content-length", b"transfer-encoding"}:
            raise httpx.RemoteProtocolError("closed without a whole answer")
        self.whole = True


class _Connection:
    """One connection, on which one request after the other is asked."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer
        self._answer: _Answer | None = None
        self._since = 0.0

    def fresh(self, since: float) -> bool:
        """Whether it was used since then, and the other side has neither closed it nor spoken."""
        quiet = not self._reader.at_eof() and not self._reader._buffer  # type: ignore[attr-defined]  # noqa: SLF001 - nothing else tells
        return self._since >= since and quiet and not self._writer.is_closing()

    def again(self) -> bool:
        """Make it ready for the next request; whether that can be."""
        answer, self._answer = self._answer, None
        self._since = asyncio.get_running_loop().time()
        open_ = not self._reader.at_eof() and not self._writer.is_closing()
        return answer is not None and answer.whole and answer.stays and open_

    def close(self) -> None:
        """Close it; what is on its way is lost."""
        self._writer.close()

    async def ask(self, request: httpx.Request) -> _Answer:
        """Send a request, and read the head of its answer, with what of the body comes along.

        Raises:
            httpx.LocalProtocolError: it can't be put into HTTP; nothing was sent.
            httpx.TransportError: as :meth:`more` does.
        """
        data = _head(request)
        if isinstance(request.stream, httpx.AsyncByteStream):
            data += b"".join([part async for part in request.stream])
        self._answer = answer = _Answer(without_body=request.method == "HEAD")
        try:
            self._writer.write(data)
            await self._writer.drain()
        except OSError:
            pass  # an answer may have come all the same; reading tells
        taken = 0
        while not answer.begun:
            taken += await self.more(answer)
            if taken > _LONGEST_HEAD and not answer.begun:
                raise httpx.RemoteProtocolError("the head of its answer does not end")
        return answer

    async def more(self, answer: _Answer) -> int:
        """Read on; how many bytes came.

        Raises:
            httpx.ReadError: the connection broke.
            httpx.RemoteProtocolError: it ended early, or is no HTTP.
        """
        try:
            data = await self._reader.read(_CHUNK)
        except OSError as error:
            raise httpx.ReadError(str(error)) from error
        if data:
            answer.take(data)
        else:
            answer.end()
        return len(data)


class _Body(httpx.AsyncByteStream):
    """The body of an answer; ``done`` is told when it is whole, or given up."""

    def __init__(
        self, connection: _Connection, answer: _Answer, done: Callable[[_Connection], None]
    ) -> None:
        self._connection = connection
        self._answer = answer
        self._done = done
        self._over = False

    async def __aiter__(self) -> AsyncIterator[bytes]:
        answer = self._answer
        while True:
            parts, answer.parts = answer.parts, []
            for part in parts:
                yield part
            if answer.whole:
                break
            await self._connection.more(answer)
        await self.aclose()

    async def aclose(self) -> None:
        """Let go of the connection; it is kept if the body was read to its end."""
        if not self._over:
            self._over = True
            self._done(self._connection)


def _head(request: httpx.Request) -> bytes:
    """The head of ``request`` as it is sent (RFC 9112, sections 3 and 5).

    Raises:
        httpx.LocalProtocolError: a line of it would be two.
    """
    lines = [request.method.encode("ascii") + b" " + request.url.raw_path + b" HTTP/1.1"]
    lines += [name + b": " + value for name, value in request.headers.raw]
    if any(b"\r" in line or b"\n" in line or b"\0" in line for line in lines):
        raise httpx.LocalProtocolError("a header holds the end of a line", request=request)
    return b"\r\n".join([*lines, b"", b""])


async def _silent(_event: str, _info: dict[str, Any]) -> None:
    """For requests that nobody follows."""
