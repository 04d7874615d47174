import asyncio
import dataclasses
import json
import time
from collections.abc import Awaitable, Callable
from typing import Any

import httpx
import pytest
import respx

from orchestrator.adapters.http.messages import Party, Request, Response
from orchestrator.adapters.http.transport import BODY_LIMIT, Transport
from orchestrator.errors import (
    Broken,
    Busy,
    DeviceError,
    OutcomeUnknown,
    Rejected,
    SignInRefused,
    Unreachable,
)
from tests.adapters.servers import Talk, answering, http, serving

PARTY = Party(device="rack-node", address="127.0.0.1")
READ = Request(method="GET", path="/x", doing="reading")
WRITE = Request(method="PUT", path="/x", doing="writing", body={"n": 1})
BASE = "http://127.0.0.1:8080"


def send(request: Request, base: str = BASE, **more: Any) -> Response:
    """Send one request by a transport of its own; respx stands in for httpx's own network."""

    async def once() -> Response:
        more.setdefault("network", httpx.AsyncHTTPTransport(trust_env=False))
        transport = Transport(PARTY, base, timeout_s=more.pop("timeout_s", 5.0), **more)
        try:
            return await transport.send(request)
        finally:
            await transport.close()

    return asyncio.run(once())


def failed(request: Request, **more: Any) -> DeviceError:
    """Send one request that fails; gives the error."""
    with pytest.raises(DeviceError) as caught:
        send(request, **more)
    return caught.value


def over(answer: Callable[[httpx.Request], httpx.Response]) -> httpx.MockTransport:
    """A network in memory."""
    return httpx.MockTransport(answer)


def on_wire(
    talk: Talk, request: Request, **more: Any
) -> tuple[Response | DeviceError, list[bytes]]:
    """Send one request to a server on a real socket; gives the answer or error, and what came."""

    async def whole() -> tuple[Response | DeviceError, list[bytes]]:
        async with serving(talk) as server:
            more.setdefault("timeout_s", 5.0)
            transport = Transport(PARTY, f"http://127.0.0.1:{server.port}", **more)
            try:
                return await transport.send(request), server.heard
            except DeviceError as error:
                return error, server.heard
            finally:
                await transport.close()

    return asyncio.run(whole())


def test_a_read_and_its_answer() -> None:
    """Status, headers in lower case, and body."""
    with respx.mock() as router:
        route = router.get("http://127.0.0.1:8080/x").respond(
            200, json={"a": 1}, headers={"X-Thing": "y"}
        )
        found = send(READ)
    assert (found.status, found.headers["x-thing"]) == (200, "y")
    assert json.loads(found.body) == {"a": 1}
    assert "content-type" not in route.calls.last.request.headers


def test_a_write_carries_json() -> None:
    """The body is JSON in UTF-8, typed as the description says; further headers go along."""
    request = Request(
        method="PATCH",
        path="/x",
        doing="writing",
        body={"name": "caf\u00e9"},
        content_type="application/merge-patch+json",
        headers=(("If-Match", '"7"'),),
    )
    with respx.mock() as router:
        route = router.patch("http://127.0.0.1:8080/x").respond(204)
        assert send(request).status == 204
    sent = route.calls.last.request
    assert sent.content == '{"name": "caf\u00e9"}'.encode()
    assert sent.headers["content-type"] == "application/merge-patch+json"
    assert sent.headers["if-match"] == '"7"'
    assert sent.headers["accept-encoding"] == "identity"
    assert sent.headers["user-agent"] == "cutsheet"


@pytest.mark.parametrize("path", ["/a%2Fb/c%20d?e=f%26g", "/a/%2E%2E/b"])
def test_a_path_arrives_as_it_was_written(path: str) -> None:
    """Percent-encoded segments stay so; a slash inside a key leads nowhere else."""
    request = Request(method="GET", path=path, doing="reading")
    _, heard = on_wire(answering(http()), request)
    assert heard[0].startswith(f"GET {path} HTTP/1.1\r\n".encode())


@pytest.mark.parametrize(
    "path",
    [
        "x",
        "@127.0.0.9/x",
        "//127.0.0.9/x",
        "",
        "/a/../b",
        "/a/..",
        "/caf\u00e9",
        "/a b",
        "/a\r\nX: y",
    ],
)
def test_a_path_leads_nowhere_else(path: str) -> None:
    """What is no path on the device is not sent."""
    network = over(lambda _: pytest.fail("something was sent"))
    request = Request(method="GET", path=path, doing="reading")
    assert isinstance(failed(request, network=network), Rejected)


@pytest.mark.parametrize(
    ("status", "kind"),
    [
        (401, SignInRefused),
        (403, SignInRefused),
        (404, Rejected),
        (429, Busy),
        (500, OutcomeUnknown),
    ],
)
def test_statuses_are_judged(status: int, kind: type[DeviceError]) -> None:
    """Answers go through the table, with the device's words."""
    error = failed(WRITE, network=over(lambda _: httpx.Response(status, json={"problem": "no"})))
    assert type(error) is kind
    assert error.said == f"{status}: no"


@pytest.mark.parametrize(
    ("raised", "read", "write"),
    [
        (httpx.ConnectError, Unreachable, Unreachable),
        (httpx.ConnectTimeout, Unreachable, Unreachable),
        (httpx.ReadTimeout, Unreachable, OutcomeUnknown),
        (httpx.RemoteProtocolError, Broken, OutcomeUnknown),
    ],
)
def test_failures_are_judged(
    raised: type[httpx.TransportError], read: type[DeviceError], write: type[DeviceError]
) -> None:
    """Errors of the library go through the table, and none of it hangs on to ours."""
    with respx.mock() as router:
        router.route().mock(side_effect=raised)
        for request, kind in ((READ, read), (WRITE, write)):
            error = failed(request)
            assert type(error) is kind
            assert error.__cause__ is None
            assert error.__context__ is None


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_redirects_are_never_followed(status: int) -> None:
    """A signed request goes to the device and nowhere else, not even to the same host."""
    with respx.mock(assert_all_called=False) as router:
        router.get("http://127.0.0.1:8080/x").respond(
            status, headers={"Location": "http://127.0.0.9/y"}
        )
        elsewhere = router.get("http://127.0.0.9/y").respond(200)
        error = failed(READ, auth=httpx.BasicAuth("engineer", "x"))
    assert not elsewhere.called
    assert isinstance(error, Rejected)
    assert error.said == f"{status}, it points elsewhere; redirects are not followed"


def test_no_cookie_is_kept() -> None:
    """What one answer sets, the next request does not carry."""
    seen: list[httpx.Headers] = []

    def answer(request: httpx.Request) -> httpx.Response:
        seen.append(request.headers)
        return httpx.Response(200, headers={"Set-Cookie": "session=1; Path=/"})

    async def twice() -> None:
        transport = Transport(PARTY, BASE, timeout_s=5.0, network=over(answer))
        await transport.send(READ)
        await transport.send(READ)
        await transport.close()

    asyncio.run(twice())
    assert len(seen) == 2
    assert all("cookie" not in headers for headers in seen)


def test_no_proxy_is_taken_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """A proxy in the environment would be handed every request, and its sign-in."""
    monkeypatch.setenv("HTTP_PROXY", "http://127.0.0.9:9")
    monkeypatch.setenv("ALL_PROXY", "http://127.0.0.9:9")
    found, heard = on_wire(answering(http(b"[1]")), READ)
    assert isinstance(found, Response)
    assert len(heard) == 1


def test_nobody_there_is_unreachable() -> None:
    """A refused connection changed nothing, for a write as well."""

    async def closed_port() -> int:
        async with serving(answering(b"")) as server:
            return server.port

    base = f"http://127.0.0.1:{asyncio.run(closed_port())}"
    for request in (READ, WRITE):
        error = failed(request, base=base)
        assert type(error) is Unreachable
        assert error.said == "no connection could be made: connection refused"


async def slowly(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Answer a byte at a time, each soon enough for a limit on each read."""
    for byte in http(b"[" + b"1," * 1000):
        writer.write(bytes([byte]))
        await writer.drain()
        await asyncio.sleep(0.02)


async def silently(_reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
    """Never answer."""
    await asyncio.sleep(60)


@pytest.mark.parametrize("talk", [slowly, silently])
@pytest.mark.parametrize(("request_", "kind"), [(READ, Unreachable), (WRITE, OutcomeUnknown)])
def test_the_deadline_is_for_the_whole(
    talk: Callable[..., Awaitable[None]], request_: Request, kind: type[DeviceError]
) -> None:
    """A trickle does not hold anyone longer than silence does."""
    start = time.monotonic()
    found, _ = on_wire(talk, request_, timeout_s=0.3)
    assert type(found) is kind
    assert time.monotonic() - start < 2.0


@pytest.mark.parametrize(
    "answer",
    [
        b"",
        b"garbage\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n{",
        b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"HTTP/1.1 200 OK\r\nX-Big: " + b"x" * 200_000,
        http(b"\x1f\x8b\x08", "200 OK", "Content-Encoding: gzip"),
    ],
    ids=["closed", "garbage", "half", "chunks", "headers", "packed"],
)
def test_answers_that_are_no_answers(answer: bytes) -> None:
    """A read is broken off; of a write nobody knows."""
    talk = answering(answer, then_close=True)
    found, _ = on_wire(talk, READ)
    assert isinstance(found, Broken | Unreachable)
    found, heard = on_wire(talk, WRITE)
    assert type(found) is OutcomeUnknown
    assert len(heard) == 1  # nothing is sent twice


@pytest.mark.parametrize("length", ["", "declared"])
def test_a_body_without_end_is_cut_off(length: str) -> None:
    """The bound holds while it streams in, whatever the headers say."""
    head = f"Content-Length: {10**9}" if length else "Transfer-Encoding: chunked"
    taken = 0

    async def talk(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal taken
        writer.write(f"HTTP/1.1 200 OK\r\n{head}\r\n\r\n".encode())
        piece = b"x" * 65536
        for _ in range(10**9 // len(piece)):
            writer.write(piece if length else b"%x\r\n%s\r\n" % (len(piece), piece))
            await writer.drain()
            taken += len(piece)

    found, _ = on_wire(talk, READ)
    assert isinstance(found, Broken)
    assert found.said == "its answer is larger than is believed"
    assert taken < 20 * BODY_LIMIT


def test_a_body_at_the_limit_is_believed() -> None:
    """One byte more is not."""
    limit = 1000
    fits, _ = on_wire(answering(http(b"x" * limit)), READ, body_limit=limit)
    assert isinstance(fits, Response)
    assert len(fits.body) == limit
    over_it, _ = on_wire(answering(http(b"x" * (limit + 1))), READ, body_limit=limit)
    assert isinstance(over_it, Broken)


def test_an_accepted_write_needs_no_json() -> None:
    """A 200 with nonsense behind it was accepted all the same; the read-back decides."""
    found, _ = on_wire(answering(http(b"{{{")), WRITE)
    assert isinstance(found, Response)


def test_another_port_of_the_same_device() -> None:
    """A request may name another port; scheme and address stay those of the device."""
    seen: list[str] = []

    def answer(request: httpx.Request) -> httpx.Response:
        seen.append(str(request.url))
        return httpx.Response(200)

    send(dataclasses.replace(READ, port=9000), network=over(answer))
    send(READ, network=over(answer))
    assert seen == ["http://127.0.0.1:9000/x", "http://127.0.0.1:8080/x"]
