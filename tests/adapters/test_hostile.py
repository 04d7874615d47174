"""Devices that mean harm, over real sockets: memory stays bounded, and the error is typed.

Each is spoken to by the whole way that a survey and a run take: sign-in, request, answer, reading.
Memory is measured by tracemalloc, which counts every block that Python allocates.
"""

import asyncio
import dataclasses
import json
import re
import tracemalloc
import zlib
from collections.abc import Awaitable, Callable
from functools import cache
from typing import Any

import pytest

from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.open import make_opener
from orchestrator.errors import Broken, DeviceError, OutcomeUnknown, Rejected, SignInRefused
from orchestrator.facility.description import Description, SignIn, WriteRule
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import StepKind
from orchestrator.running.protocols import DeviceAdapter, Part
from tests.adapters.makes import DEVICE, PARTY, TAMARISK, a_plan, a_step
from tests.adapters.servers import Talk, answering, http, serving

MOST_BYTES = 48 * 1024 * 1024
"""What one answer may cost: the 2 MiB that are believed, in parts, joined, and as values."""

PIECE = b"x" * 65536
OK = "HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"
SESSION = WriteRule(method="POST", path="/in", body={"p": "{secret}"})
OFF = a_step(StepKind.DISABLE, False, source="mic")
Act = Callable[[DeviceAdapter], Awaitable[Any]]


def pouring(head: str, piece: bytes) -> Talk:
    """Answer with a head, and then with the same piece until nobody listens any more."""

    async def talk(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(head.encode())
        while not writer.is_closing():
            writer.write(piece)
            await writer.drain()

    return talk


def opened(description: Description, port: int) -> DeviceAdapter:
    """The way to the device that answers at a port of this computer."""
    opener = make_opener(
        a_plan(),
        {"tamarisk-node": description},
        lambda _: Secret("", "canary-word"),
        {PARTY.address: f"127.0.0.1:{port}"},
        patience=Patience(attempts=1),
    )
    return opener("rack-node", PARTY.address)


def spoken(
    talk: Talk, act: Act, description: Description = TAMARISK
) -> tuple[Any, list[bytes], int]:
    """Speak to a device; gives what came of it, what the device got, and the most memory taken."""

    async def whole() -> tuple[Any, list[bytes]]:
        async with serving(talk) as server:
            adapter = opened(description, server.port)
            try:
                return await act(adapter), server.heard
            except DeviceError as error:
                return error, server.heard
            finally:
                await adapter.close()

    tracemalloc.start()
    try:
        found, heard = asyncio.run(whole())
        return found, heard, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


async def read(adapter: DeviceAdapter) -> Any:
    """As a survey does."""
    return await adapter.read(frozenset({Part.SOURCES}))


def deep(pair: tuple[bytes, bytes], depth: int) -> bytes:
    """JSON that is nested so deep."""
    return pair[0] * depth + b"1" + pair[1] * depth


@cache
def bomb() -> bytes:
    """A hundred mebibytes in a tenth of one. Made only where it is used."""
    packing = zlib.compressobj(9, zlib.DEFLATED, 31)  # 31: with gzip's header
    return b"".join([*(packing.compress(bytes(1 << 20)) for _ in range(100)), packing.flush()])


def bombing(*headers: str) -> Talk:
    """Answer with the bomb."""

    async def talk(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(http(bomb(), "200 OK", *headers))
        await writer.drain()

    return talk


HOSTILE: dict[str, tuple[Talk, str]] = {
    "ten gibibytes": (pouring(f"{OK}Content-Length: {10 * 1024**3}\r\n\r\n", PIECE), "larger"),
    "endless chunks": (
        pouring(f"{OK}Transfer-Encoding: chunked\r\n\r\n", b"10000\r\n" + PIECE + b"\r\n"),
        "larger",
    ),
    "a body without length": (pouring(f"{OK}Connection: close\r\n\r\n", PIECE), "larger"),
    "tiny chunks": (
        pouring(f"{OK}Transfer-Encoding: chunked\r\n\r\n", b"1\r\n[\r\n" * 10_000),
        "did not answer in time|larger",  # whichever comes first
    ),
    "endless headers": (pouring(f"{OK}X-A: ", b"a" * 65536), "closed the connection early"),
    "endless header lines": (pouring(OK, b"X-A: b\r\n" * 5000), "closed the connection early"),
    "endless answers before the answer": (
        pouring("HTTP/1.1 103 Early\r\n", b"X-A: b\r\n\r\nHTTP/1.1 103 Early\r\n" * 2000),
        "closed the connection early",
    ),
    "a gzip bomb": (bombing("Content-Encoding: gzip"), "packed"),
    "a gzip bomb that says nothing": (bombing(), "no JSON"),
    "lists in lists": (answering(http(deep((b"[", b"]"), 100_000))), "nested too deep"),
    "objects in objects": (answering(http(deep((b'{"a":', b"}"), 100_000))), "nested too deep"),
    "many lists": (
        answering(http(b"[" + b"[]," * 650_000 + b"[]]")),
        "there is no value at /id/sn",
    ),
    "a very long figure": (answering(http(b"1" * 2_000_000)), "no JSON"),
    "no UTF-8": (answering(http(b'{"id": {"sn": "\xff\xfe", "type": "x"}}')), "no JSON"),
    "half characters": (
        answering(http(b'{"id": {"sn": "\\ud800", "type": "x"}}')),
        "text that is no Unicode",
    ),
    "not a number": (answering(http(b'{"id": {"sn": NaN}}')), "no JSON"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_answer_to_a_read(name: str) -> None:
    """Broken off or refused with words of our own, within memory and time."""
    talk, words = HOSTILE[name]
    bomb()  # made before any deadline runs
    quick = dataclasses.replace(TAMARISK, timeout_s=1.0)
    found, heard, most = spoken(talk, read, quick)
    assert isinstance(found, DeviceError)
    assert re.search(words, found.said)
    assert len(heard) == 1
    assert most < MOST_BYTES, f"{most / 1024**2:.0f} MiB"


@pytest.mark.parametrize("name", ["ten gibibytes", "endless chunks", "endless headers"])
def test_a_hostile_answer_to_a_write_leaves_it_open(name: str) -> None:
    """The device may have done it; only reading can tell."""
    first = answering(http(json.dumps(DEVICE["/api/tx"]).encode()))
    count = 0

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal count
        count += 1
        await (first if count == 1 else HOSTILE[name][0])(reader, writer)

    found, heard, most = spoken(talk, lambda adapter: adapter.write(OFF))
    assert type(found) is OutcomeUnknown
    assert len(heard) == 2
    assert most < MOST_BYTES


@pytest.mark.parametrize("name", ["ten gibibytes", "endless chunks", "a gzip bomb"])
def test_a_hostile_answer_to_a_sign_in(name: str) -> None:
    """The sign-in that comes first is bounded like anything else, and the write is not sent."""
    description = dataclasses.replace(TAMARISK, sign_in=SignIn.SESSION, session=SESSION)
    for act in (read, lambda adapter: adapter.write(OFF)):
        found, heard, most = spoken(HOSTILE[name][0], act, description)
        assert isinstance(found, DeviceError)
        assert not isinstance(found, OutcomeUnknown)
        assert [line.split(b" ", 2)[1] for line in heard] == [b"/in"]
        assert most < MOST_BYTES


def test_thousands_of_cookies_are_not_kept() -> None:
    """What goes with each request stays small."""
    cookies = [f"Set-Cookie: c{index}={'v' * 40}" for index in range(700)]
    description = dataclasses.replace(TAMARISK, sign_in=SignIn.SESSION, session=SESSION)
    talk = answering(http(b"{}", "200 OK", *cookies), http(b"{}", "409 X"))
    found, heard, _ = spoken(talk, read, description)
    assert isinstance(found, Rejected)
    assert len(heard[-1]) < 2000


@pytest.mark.parametrize("status", ["301 X", "302 X", "307 X", "308 X"])
@pytest.mark.parametrize("kind", [SignIn.API_KEY, SignIn.BEARER, SignIn.SESSION])
def test_a_redirect_to_another_host_carries_nothing_there(status: str, kind: SignIn) -> None:
    """Nobody but the device gets a request, signed or not."""
    elsewhere: list[bytes] = []

    async def whole() -> Any:
        async with serving(answering(http())) as other:
            location = f"Location: http://127.0.0.9:{other.port}/api/info"
            same = f"Location: http://127.0.0.1:{other.port}/api/info"
            talks = [answering(http(b"", status, place)) for place in (location, same)]
            found.extend([await _to(talk, kind) for talk in talks])
            elsewhere.extend(other.heard)

    found: list[Any] = []
    asyncio.run(whole())
    assert elsewhere == []
    expected = SignInRefused if kind is SignIn.SESSION else Rejected
    assert [type(one) for one in found] == [expected, expected]


async def _to(talk: Talk, kind: SignIn) -> Any:
    description = dataclasses.replace(TAMARISK, sign_in=kind, session=SESSION)
    async with serving(talk) as server:
        adapter = opened(description, server.port)
        try:
            return await adapter.read()
        except DeviceError as error:
            return error
        finally:
            await adapter.close()


NAMES = [
    "1\r\nX-Evil: 1",
    "1 HTTP/1.1\r\n\r\nGET /evil",
    "../../evil",
    "1?evil=1",
    "1#evil",
    "\u202e1",
    "1\x00",
]


@pytest.mark.parametrize("key", NAMES)
def test_a_name_from_the_device_makes_no_header_and_no_other_path(key: str) -> None:
    """What a device calls its slots stays one segment of the path that is asked for."""
    held = {"tx": {key: {"num": "0421", "dest": "", "name": "", "state": "on"}}}
    talk = answering(http(json.dumps(held).encode()))
    step = a_step(StepKind.DISABLE, False, source=f"input-{key}")
    found, heard, _ = spoken(talk, lambda adapter: adapter.write(step))
    assert found is None
    head, _, body = heard[-1].partition(b"\r\n\r\n")
    first, *headers = head.split(b"\r\n")
    assert first.count(b" ") == 2
    assert first.startswith(b"PUT /api/tx/")
    assert first.count(b"/") == 4
    assert not set(b"?#\x00") & set(first)
    assert not [line for line in headers if line.lower().startswith(b"x-evil")]
    assert json.loads(body) == {"state": "off"}


@pytest.mark.parametrize("tag", ['"a"\x00', '"a" , "b"', "*", "\xff", '"' + "x" * 60_000 + '"'])
def test_a_tag_from_the_device_makes_no_header_of_its_own(tag: str) -> None:
    """What can't stand in If-Match is not sent there."""
    rule = WriteRule(
        method="PUT", path="/api/tx/{key}", body={"state": "{enabled}"}, whole=True, if_match=True
    )
    description = dataclasses.replace(TAMARISK, writes={StepKind.DISABLE: rule})
    entry = {"num": "0421", "dest": "", "name": "", "state": "on"}
    all_of_them = http(json.dumps({"tx": {"1": entry}}).encode())
    body = json.dumps(entry).encode()
    tagged = f"HTTP/1.1 200 OK\r\nETag: {tag}\r\nContent-Length: {len(body)}\r\n\r\n"
    talk = answering(all_of_them, tagged.encode("latin-1") + body, http())
    found, heard, _ = spoken(talk, lambda adapter: adapter.write(OFF), description)
    assert isinstance(found, Broken)
    assert not [line for line in heard if line.startswith(b"PUT")]
