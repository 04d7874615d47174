"""One connection to a device, on which one request after the other is asked.

A parser (llhttp, by httptools) is fed by the event loop as the bytes come: asyncio's streams would
wake a task for each part, and a plant is written to 64 devices at a time.
"""

import asyncio
from contextlib import suppress
from typing import cast

import httptools
import httpx

_ENOUGH = 256 * 1024
"""Bytes of a body that may wait for whoever reads it; then the device is told to wait."""

_LONGEST_HEAD = 100 * 1024
_FIRST_FINAL = 200
_IS_NO_HTTP = (httptools.HttpParserError, httptools.HttpParserUpgrade)


class _Unasked(Exception):
    """More is said than was asked for. Stays inside this module."""


class Answer:
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
        """Another one, or the first."""
        if self.whole:
            raise _Unasked
        self.headers = []

    def on_header(self, name: bytes, value: bytes) -> None:
        """One header."""
        self.headers.append((name, value))

    def on_headers_complete(self) -> None:
        """All of them."""
        self.status = self.parser.get_status_code()
        self.version = self.parser.get_http_version().encode()
        self.begun = self.status >= _FIRST_FINAL
        self.whole |= self.begun and self._without_body

    def on_body(self, body: bytes) -> None:
        """A part of the body."""
        self.parts.append(body)

    def on_message_complete(self) -> None:
        """The whole of it."""
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


class Connection(asyncio.Protocol):
    """One connection; a request at a time."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._way: asyncio.Transport | None = None
        self._answer: Answer | None = None
        self._wrong: httpx.TransportError | None = None  # to be told to whoever reads on
        self._over = False  # nothing comes any more
        self._secure = False
        self._closed = False  # by this side
        self._news: asyncio.Future[None] | None = None
        self._bytes = 0  # of this answer
        self._waiting = 0  # of its body, not read yet
        self._since = 0.0

    # What the event loop tells.

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """It stands."""
        self._way = cast("asyncio.Transport", transport)  # of a loop's own class
        self._secure = transport.get_extra_info("ssl_object") is not None

    def data_received(self, data: bytes) -> None:
        """Some bytes came."""
        answer = self._answer
        if answer is None:  # nobody asked
            self.close()
            return
        self._bytes += len(data)
        try:
            answer.take(data)
        except httpx.RemoteProtocolError as error:
            self._wrong = error
        if self._bytes > _LONGEST_HEAD and not answer.begun:
            self._wrong = httpx.RemoteProtocolError("the head of its answer does not end")
        self._waiting += len(data)
        if self._waiting > _ENOUGH and self._way is not None and not answer.whole:
            self._way.pause_reading()
        self._tell()

    def eof_received(self) -> None:
        """The other side says no more; so this side closes."""
        self._over = True
        self._tell()

    def connection_lost(self, exc: Exception | None) -> None:
        """It is gone."""
        self._over = True
        if exc is not None:
            self._wrong = self._wrong or httpx.ReadError(str(exc))
        self._tell()

    def _tell(self) -> None:
        if self._news is not None and not self._news.done():
            self._news.set_result(None)

    # What is asked of it.

    def fresh(self, since: float) -> bool:
        """Whether it was used since then, and the other side has neither closed it nor spoken."""
        return self._since >= since and self._open()

    def again(self) -> bool:
        """Make it ready for the next request; whether that can be."""
        answer, self._answer = self._answer, None
        self._since = self._loop.time()
        return answer is not None and answer.whole and answer.stays and self._open()

    def close(self) -> None:
        """Close it; what is on its way is lost.

        Over TLS the other side is told so, and its own word is not waited for (RFC 8446, 6.1): not
        every device gives it.
        """
        if self._way is None or self._closed:
            return
        self._closed = True
        self._way.close()
        if self._secure:
            self._way.abort()

    def _open(self) -> bool:
        return not self._over and self._way is not None and not self._way.is_closing()

    async def ask(self, data: bytes, *, without_body: bool) -> Answer:
        """Send ``data``, a request, and read the head of its answer, with what comes along.

        Raises:
            httpx.TransportError: as :meth:`more` does.
        """
        self._answer = answer = Answer(without_body=without_body)
        self._bytes = self._waiting = 0
        if self._way is not None:
            self._way.write(data)
        while not answer.begun:
            await self.more(answer)
        return answer

    async def more(self, answer: Answer) -> None:
        """Wait until more of the answer has come, or it is over.

        Raises:
            httpx.ReadError: the connection broke.
            httpx.RemoteProtocolError: it ended early, or is no HTTP.
        """
        if self._waiting > _ENOUGH and self._way is not None:
            with suppress(RuntimeError):  # it is closing
                self._way.resume_reading()
        self._waiting = 0
        if self._wrong is None and not self._over:
            self._news = self._loop.create_future()
            try:
                await self._news
            finally:
                self._news = None
            if answer.begun:
                return
        if self._wrong is not None:
            raise self._wrong
        if self._over and not answer.whole:
            answer.end()
