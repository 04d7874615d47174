"""The simulated world without sockets: an httpx transport for clients of both kinds.

What goes wrong on a wire goes wrong here with the exceptions that httpx raises for it: nobody there
is ``ConnectError``, a lost answer ``ReadError``, half a body ``RemoteProtocolError``, and a device
that takes longer than the client's read timeout ``ReadTimeout`` (the request is done all the same).
"""

import asyncio
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator

import httpx

from mocks.exchange import Begun, Exchange, Fate, in_parts
from mocks.messages import Request, Response
from mocks.world import World

Sleep = Callable[[float], None]
AsyncSleep = Callable[[float], Awaitable[None]]


class InMemory(httpx.BaseTransport, httpx.AsyncBaseTransport):
    """A transport to a simulated world: ``httpx.AsyncClient(transport=InMemory(world))``.

    ``sleep`` and ``async_sleep`` pass the time of faults that delay; with a clock that is moved by
    hand, give ``clock.advance`` and ``clock.sleep``.
    """

    def __init__(
        self,
        world: World,
        sleep: Sleep = time.sleep,
        async_sleep: AsyncSleep = asyncio.sleep,
    ) -> None:
        self._world = world
        self._sleep = sleep
        self._async_sleep = async_sleep

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        """Answer a request of a synchronous client.

        Raises:
            httpx.TransportError: as a wire would.
        """
        begun = self._begin(request, request.read())
        limit = _read_timeout(request)
        if limit is not None and begun.delay_s > limit:
            self._world.finish_later(begun)
            self._sleep(limit)
            raise httpx.ReadTimeout("no answer in time", request=request)
        if begun.delay_s:
            self._sleep(begun.delay_s)
        return self._response(request, self._world.finish(begun))

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Answer a request of an asynchronous client.

        Raises:
            httpx.TransportError: as a wire would.
        """
        begun = self._begin(request, await request.aread())
        limit = _read_timeout(request)
        if limit is not None and begun.delay_s > limit:
            self._world.finish_later(begun)
            await self._async_sleep(limit)
            raise httpx.ReadTimeout("no answer in time", request=request)
        if begun.delay_s:
            await self._async_sleep(begun.delay_s)
        return self._response(request, self._world.finish(begun))

    def _begin(self, request: httpx.Request, body: bytes) -> Begun:
        url = request.url
        port = url.port or {"http": 80, "https": 443}.get(url.scheme)
        if url.scheme != "http" or not self._listens(url.host, port):
            raise httpx.ConnectError(f"nothing listens at {url.host}:{port}", request=request)
        headers = {name.lower(): value for name, value in request.headers.items()}
        asked = Request(request.method, url.raw_path.decode("ascii"), headers, body)
        begun = self._world.begin(url.host, asked)
        if begun is None:
            raise httpx.ConnectError(f"nobody answers at {url.host}", request=request)
        return begun

    def _listens(self, host: str, port: int | None) -> bool:
        name = self._world.answering().get(host)
        more = () if name is None else self._world.machine(name).more_ports
        return self._world.port in (0, port) or port in more

    def _response(self, request: httpx.Request, exchange: Exchange) -> httpx.Response:
        response = exchange.response
        if exchange.fate is Fate.REFUSED:
            raise httpx.ConnectError("connection refused", request=request)
        if response is None:
            raise httpx.ReadError("connection closed without an answer", request=request)
        stream = _Stream(self._parts(request, response, exchange), self._sleep, self._async_sleep)
        return httpx.Response(
            response.status,
            headers=[*response.headers, ("content-length", str(len(response.body)))],
            stream=stream,
        )

    def _parts(
        self, request: httpx.Request, response: Response, exchange: Exchange
    ) -> "list[_Part]":
        if exchange.fate is Fate.HALVED:
            broken = httpx.RemoteProtocolError("the body broke off", request=request)
            return [_Part(0.0, response.body[: len(response.body) // 2]), _Part(0.0, b"", broken)]
        if exchange.fate is not Fate.TRICKLED:
            return [_Part(0.0, response.body)]
        pieces = in_parts(response.body)
        each, limit = exchange.seconds / max(1, len(pieces)), _read_timeout(request)
        if limit is not None and each > limit:
            slow = httpx.ReadTimeout("the body did not go on in time", request=request)
            return [_Part(limit, b"", slow)]
        return [_Part(each, piece) for piece in pieces]


class _Part:
    """Some bytes of a body, after a time; or the error that comes instead."""

    def __init__(self, after_s: float, data: bytes, error: httpx.HTTPError | None = None) -> None:
        self.after_s = after_s
        self.data = data
        self.error = error

    def arrived(self) -> bytes:
        if self.error is not None:
            raise self.error
        return self.data


class _Stream(httpx.SyncByteStream, httpx.AsyncByteStream):
    """A body that arrives in parts."""

    def __init__(self, parts: list[_Part], sleep: Sleep, async_sleep: AsyncSleep) -> None:
        self._parts = parts
        self._sleep = sleep
        self._async_sleep = async_sleep

    def __iter__(self) -> Iterator[bytes]:
        for part in self._parts:
            if part.after_s:
                self._sleep(part.after_s)
            yield part.arrived()

    async def __aiter__(self) -> AsyncIterator[bytes]:
        for part in self._parts:
            if part.after_s:
                await self._async_sleep(part.after_s)
            yield part.arrived()


def _read_timeout(request: httpx.Request) -> float | None:
    limits = request.extensions.get("timeout", {})
    value = limits.get("read")
    return None if value is None else float(value)
