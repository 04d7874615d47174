"""HTTP/1.1 to one device over a socket: h11's parser on asyncio's streams, below httpx's client.

A plant is written to 64 devices at a time, each of which answers within milliseconds; then the
computer's own work for each request is what a run takes. httpx's own way to the network does that
work four times over (its pool and locks are made for thousands of hosts); one device needs a
connection or two. Errors are httpx's, so that one table says what each of them means.
"""

import asyncio
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

import h11
import httpx

KEPT_OPEN_S = 2.0
"""Seconds for which a connection that is not used is kept; devices close theirs soon."""

_CHUNK = 65536
_LONGEST_HEAD = 100 * 1024
_Note = Callable[[str, dict[str, Any]], Awaitable[None]]


class Wire(httpx.AsyncBaseTransport):
    """Connections to one device; ``tls`` is what its certificate is judged by."""

    def __init__(self, tls: ssl.SSLContext, kept_open_s: float = KEPT_OPEN_S) -> None:
        self._tls = tls
        self._kept_open_s = kept_open_s
        self._idle: list[_Connection] = []
        self._open: set[_Connection] = set()

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Send ``request`` and give its answer, whose body is read as it comes.

        Raises:
            httpx.ConnectError: there is no connection; nothing was sent.
            httpx.TransportError: the request may have been sent.
        """
        note: _Note = request.extensions.get("trace", _silent)
        connection = self._kept() or await self._connect(request, note)
        try:
            await note("http11.send_request_headers.started", {})
            head = await connection.ask(request)
        except BaseException:
            self._drop(connection)
            raise
        return httpx.Response(
            head.status_code,
            headers=head.headers.raw_items(),
            stream=_Body(connection, self._done),
            extensions={"http_version": b"HTTP/" + head.http_version, "reason_phrase": head.reason},
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


class _Connection:
    """One connection, on which one request after the other is asked."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer
        self._talk = h11.Connection(h11.CLIENT, max_incomplete_event_size=_LONGEST_HEAD)
        self._since = 0.0

    def fresh(self, since: float) -> bool:
        """Whether it was used since then, and the other side has neither closed it nor spoken."""
        quiet = not self._reader.at_eof() and not self._reader._buffer  # type: ignore[attr-defined]  # noqa: SLF001 - nothing else tells
        return self._since >= since and quiet and not self._writer.is_closing()

    def again(self) -> bool:
        """Make it ready for the next request; whether that can be."""
        if self._talk.trailing_data[0]:
            return False  # it says what nobody asked
        try:
            self._talk.start_next_cycle()
        except h11.ProtocolError:
            return False
        self._since = asyncio.get_running_loop().time()
        return not self._writer.is_closing()

    def close(self) -> None:
        """Close it; what is on its way is lost."""
        self._writer.close()

    async def ask(self, request: httpx.Request) -> h11.Response:
        """Send a request, and read the head of its answer."""
        try:
            event = h11.Request(
                method=request.method,
                target=request.url.raw_path,
                headers=request.headers.raw,
            )
            data = self._sent(event)
            async for part in _stream_of(request):
                data += self._sent(h11.Data(data=part)) if part else b""
            self._writer.write(data + self._sent(h11.EndOfMessage()))
            await self._writer.drain()
        except h11.LocalProtocolError as error:
            raise httpx.LocalProtocolError(str(error), request=request) from error
        except OSError:
            pass  # an answer may have come all the same; reading tells
        while True:
            head = await self.next()
            if isinstance(head, h11.Response):
                return head

    def _sent(self, event: h11.Event) -> bytes:
        return self._talk.send(event) or b""

    async def next(self) -> object:
        """The next event of the answer.

        Raises:
            httpx.ReadError: the connection broke.
            httpx.RemoteProtocolError: it ended early, or is no HTTP.
        """
        try:
            while (event := self._talk.next_event()) is h11.NEED_DATA:
                self._talk.receive_data(await self._reader.read(_CHUNK))
        except h11.RemoteProtocolError as error:
            raise httpx.RemoteProtocolError(str(error)) from error
        except OSError as error:
            raise httpx.ReadError(str(error)) from error
        if isinstance(event, h11.ConnectionClosed):
            raise httpx.RemoteProtocolError("closed without an answer")
        return event


class _Body(httpx.AsyncByteStream):
    """The body of an answer; ``done`` is told when it is whole, or given up."""

    def __init__(self, connection: _Connection, done: Callable[[_Connection], None]) -> None:
        self._connection = connection
        self._done = done
        self._over = False

    async def __aiter__(self) -> AsyncIterator[bytes]:
        while isinstance(event := await self._connection.next(), h11.Data):
            yield bytes(event.data)
        await self.aclose()

    async def aclose(self) -> None:
        """Let go of the connection; it is kept if the body was read to its end."""
        if not self._over:
            self._over = True
            self._done(self._connection)


async def _stream_of(request: httpx.Request) -> AsyncIterator[bytes]:
    if isinstance(request.stream, httpx.AsyncByteStream):
        async for part in request.stream:
            yield part


async def _silent(_event: str, _info: dict[str, Any]) -> None:
    """For requests that nobody follows."""
