"""One HTTP/1.1 connection to a simulated device: requests in, exchanges out, keep-alive.

The parsing is h11's; what becomes of a request is the world's.
"""

import asyncio
import contextlib
from dataclasses import dataclass

import h11

from mocks.exchange import Exchange, Fate, in_parts
from mocks.messages import Request, Response, answer
from mocks.world import World

CHUNK = 65536
LONGEST_BODY = 1 << 20


@dataclass(eq=False)
class Wire:
    """A connection that came in at ``address``."""

    world: World
    address: str
    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter

    async def converse(self) -> None:
        """Answer requests until either side closes."""
        talk = h11.Connection(h11.SERVER)
        try:
            while await self._one(talk):
                talk.start_next_cycle()
        except (ConnectionError, h11.LocalProtocolError):
            self.abort()
        except h11.RemoteProtocolError as error:
            await self._complain(talk, error)
        finally:
            self.writer.close()

    def abort(self) -> None:
        """Break the connection off, without another byte."""
        self.writer.transport.abort()

    async def _one(self, talk: h11.Connection) -> bool:
        request = await self._request(talk)
        if request is None:
            return False
        begun = self.world.begin(self.address, request)
        if begun is None:
            self.abort()
            return False
        if begun.delay_s:
            await asyncio.sleep(begun.delay_s)
        return await self._deliver(talk, self.world.finish(begun))

    async def _request(self, talk: h11.Connection) -> Request | None:
        head = await self._event(talk)
        if not isinstance(head, h11.Request):
            return None
        body = b""
        while isinstance(event := await self._event(talk), h11.Data):
            body += event.data
            if len(body) > LONGEST_BODY:
                raise h11.RemoteProtocolError("the body is too long", error_status_hint=413)
        if not isinstance(event, h11.EndOfMessage):
            return None
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in head.headers}
        return Request(head.method.decode("ascii"), head.target.decode("ascii"), headers, body)

    async def _event(self, talk: h11.Connection) -> object:
        while True:
            event = talk.next_event()
            if event is not h11.NEED_DATA:
                return event
            talk.receive_data(await self.reader.read(CHUNK))

    async def _deliver(self, talk: h11.Connection, exchange: Exchange) -> bool:
        response = exchange.response
        if response is None:
            self.abort()
            return False
        if exchange.fate is Fate.HALVED:
            self._head(talk, response)
            self._send(talk, h11.Data(data=response.body[: len(response.body) // 2]))
            await self.writer.drain()
            return False
        await self._answer(talk, response, exchange.seconds)
        return talk.our_state is h11.DONE and talk.their_state is h11.DONE

    async def _answer(self, talk: h11.Connection, response: Response, over_s: float = 0.0) -> None:
        self._head(talk, response)
        parts = in_parts(response.body) if over_s else [response.body]
        for part in parts:
            if over_s:
                await self.writer.drain()
                await asyncio.sleep(over_s / len(parts))
            self._send(talk, h11.Data(data=part))
        self._send(talk, h11.EndOfMessage())
        await self.writer.drain()

    async def _complain(self, talk: h11.Connection, error: h11.RemoteProtocolError) -> None:
        with contextlib.suppress(ConnectionError, h11.LocalProtocolError):  # nobody may be left
            await self._answer(talk, answer(error.error_status_hint, {"problem": str(error)}))

    def _head(self, talk: h11.Connection, response: Response) -> None:
        length = ("content-length", str(len(response.body)))
        headers = [*response.headers, length]
        self._send(talk, h11.Response(status_code=response.status, headers=headers))

    def _send(self, talk: h11.Connection, event: h11.Event) -> None:
        data = talk.send(event)
        if data:
            self.writer.write(data)
