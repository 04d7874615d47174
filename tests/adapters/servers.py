"""Small, nasty servers on loopback sockets, for what only a real wire can do."""

import asyncio
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

Talk = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@dataclass
class Server:
    """A running server: where it listens, and the requests it got, head and body as bytes."""

    port: int = 0
    heard: list[bytes] = field(default_factory=list)


@asynccontextmanager
async def serving(talk: Talk, tls: ssl.SSLContext | None = None) -> AsyncIterator[Server]:
    """Serve every connection by ``talk`` as long as the block lasts."""
    server = Server()
    tasks: set[asyncio.Task[None]] = set()

    async def connected(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        try:
            while True:
                server.heard.append(await a_request(reader))
                await talk(reader, writer)
        except (asyncio.IncompleteReadError, asyncio.CancelledError, OSError):
            pass
        finally:
            tasks.discard(task)
            writer.close()

    listening = await asyncio.start_server(connected, "127.0.0.1", 0, ssl=tls)
    server.port = listening.sockets[0].getsockname()[1]
    try:
        yield server
    finally:
        listening.close()
        for task in tuple(tasks):
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await asyncio.sleep(0.01)  # what was closed is let go of in the loop's next turns


async def a_request(reader: asyncio.StreamReader) -> bytes:
    """Read one request, head and body."""
    head = await reader.readuntil(b"\r\n\r\n")
    length = 0
    for line in head.lower().split(b"\r\n"):
        if line.startswith(b"content-length:"):
            length = int(line.partition(b":")[2])
    return head + await reader.readexactly(length)


def answering(*answers: bytes, then_close: bool = False) -> Talk:
    """Answer with these bytes, the last for ever; ``then_close`` after each."""
    left = list(answers)

    async def talk(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(left.pop(0) if len(left) > 1 else left[0])
        await writer.drain()
        if then_close:
            writer.close()

    return talk


def http(body: bytes = b"{}", status: str = "200 OK", *headers: str) -> bytes:
    """An HTTP/1.1 answer."""
    head = [f"HTTP/1.1 {status}", f"Content-Length: {len(body)}", *headers]
    return "\r\n".join([*head, "", ""]).encode() + body
