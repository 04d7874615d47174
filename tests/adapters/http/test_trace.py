import asyncio
import base64
import json
from collections.abc import Callable
from urllib.parse import quote

import httpx
import pytest

from orchestrator.adapters.declared.bodies import FORM
from orchestrator.adapters.http.messages import Party, Request
from orchestrator.adapters.http.redact import HIDDEN, Redactor
from orchestrator.adapters.http.session import SessionSignIn
from orchestrator.adapters.http.trace import MOST_LINES, MOST_WIDE, Traced, body_text, bounded
from orchestrator.adapters.http.transport import Transport
from orchestrator.errors import DeviceError
from orchestrator.facility.description import WriteRule
from orchestrator.facility.secret import Secret
from tests.adapters.servers import Talk, answering, http, serving

PARTY = Party(device="rack-node", address="127.44.3.71")
CANARY = "canary-7Zq/hollow+31"
SECRET = Secret("engineer", CANARY)
NOTHING = Redactor(None)
READ = Request(method="GET", path="/x?y=1", doing="reading")


def traced(answer: Callable[[httpx.Request], httpx.Response], *requests: httpx.Request) -> str:
    """What is told of requests to a network in memory."""
    told: list[str] = []
    times = iter((0.0, 0.012) * len(requests))
    network = Traced(
        httpx.MockTransport(answer), PARTY, Redactor(SECRET), told.append, lambda: next(times)
    )

    async def whole() -> None:
        for request in requests:
            response = await network.handle_async_request(request)
            await response.aread()
        await network.aclose()

    asyncio.run(whole())
    return "\n".join(told)


def on_wire(talk: Talk, auth: httpx.Auth | None = None, **more: float) -> str:
    """What is told of one request to a server on a real socket."""
    told: list[str] = []

    async def whole() -> None:
        async with serving(talk) as server:
            base = f"http://127.0.0.1:{server.port}"
            timeout_s = more.get("timeout_s", 5.0)
            transport = Transport(
                PARTY, base, timeout_s=timeout_s, auth=auth, secret=SECRET, trace=told.append
            )
            try:
                await transport.send(READ)
            except DeviceError:
                told.append("failed")
            await transport.close()

    asyncio.run(whole())
    return "\n".join(told)


def test_a_request_and_its_answer_are_told_whole() -> None:
    """Method, path, headers, body; status, time, headers, body; one after the other."""
    request = httpx.Request(
        "PUT", "http://127.44.3.71/x?y=1", headers={"X-A": "b"}, json={"n": {"m": [1, "é"]}}
    )
    text = traced(lambda _: httpx.Response(200, json={"ok": True}), request)
    assert text == (
        "request 1 to rack-node at 127.44.3.71: PUT /x?y=1\n"
        "    host: 127.44.3.71\n"
        "    x-a: b\n"
        f"    content-length: {len(request.content)}\n"
        "    content-type: application/json\n"
        "    {\n"
        '      "n": {\n'
        '        "m": [\n'
        "          1,\n"
        '          "é"\n'
        "        ]\n"
        "      }\n"
        "    }\n"
        "\n"
        "answer 1 after 12 ms: 200\n"
        "    content-length: 11\n"
        "    content-type: application/json\n"
        "    {\n"
        '      "ok": true\n'
        "    }\n"
    )


def test_what_is_sent_and_received_stays_as_it_is() -> None:
    """Whoever reads the answer gets every byte of it."""
    seen: list[bytes] = []

    def answer(request: httpx.Request) -> httpx.Response:
        seen.append(request.content)
        return httpx.Response(200, content=b'{"a":   1}')

    async def whole() -> bytes:
        network = Traced(httpx.MockTransport(answer), PARTY, NOTHING, lambda _: None)
        response = await network.handle_async_request(
            httpx.Request("PUT", "http://127.44.3.71/", content=b"{}")
        )
        return await response.aread()

    assert asyncio.run(whole()) == b'{"a":   1}'
    assert seen == [b"{}"]


FORMS = (
    CANARY,
    json.dumps(CANARY)[1:-1],
    quote(CANARY, safe=""),
    base64.b64encode(CANARY.encode()).decode(),
    base64.b64encode(f"engineer:{CANARY}".encode()).decode(),
    CANARY.encode().hex(),
)


@pytest.mark.parametrize("form", FORMS)
def test_no_form_of_the_secret_is_told(form: str) -> None:
    """In a path, a header or a body of either side, whatever it is called."""
    request = httpx.Request(
        "GET", f"http://127.44.3.71/x/{form}", headers={"X-Any": form, "Authorization": form}
    )
    text = traced(
        lambda _: httpx.Response(200, headers={"X-Echo": form}, json={"said": f"a {form} b"}),
        request,
    )
    assert form not in text
    assert f"authorization: {HIDDEN}" in text
    assert f'"a {HIDDEN} b"' in text


def test_an_escaped_secret_is_not_unfolded() -> None:
    """What JSON writes with escapes is read, and then taken out."""
    escaped = "".join(f"\\u{ord(c):04x}" for c in CANARY)
    text = traced(
        lambda _: httpx.Response(200, content=f'{{"said": "{escaped}"}}'.encode()),
        httpx.Request("GET", "http://127.44.3.71/"),
    )
    assert CANARY not in text
    assert f'"said": "{HIDDEN}"' in text


@pytest.mark.parametrize(
    ("name", "hidden"),
    [
        ("password", True),
        ("wifi_pass", True),
        ("adminPassword", True),
        ("api-key", True),
        ("accessToken", True),
        ("psk", True),
        ("secret", True),
        ("bypass", False),
        ("compass", False),
        ("key", False),
        ("passage", False),
    ],
)
def test_what_looks_like_a_secret_by_its_name_is_hidden(name: str, *, hidden: bool) -> None:
    """A device may show other secrets than ours in its settings."""
    for value in ({name: "Hidden1"}, [{"a": {name: "Hidden1"}}]):
        text = body_text(json.dumps(value).encode(), "application/json", NOTHING)
        assert ("Hidden1" not in text) == hidden
    assert ("Hidden1" not in body_text(f"u=x&{name}=Hidden1".encode(), FORM, NOTHING)) == hidden


@pytest.mark.parametrize(
    ("name", "hidden"),
    [
        ("Authorization", True),
        ("Cookie", True),
        ("Set-Cookie", True),
        ("X-Node-Key", True),
        ("X-Session-Id", True),
        ("WWW-Authenticate", False),
        ("ETag", False),
        ("Keep-Alive", False),
    ],
)
def test_headers_that_carry_a_sign_in_are_hidden(name: str, *, hidden: bool) -> None:
    """The challenge is not: it says how to sign in."""
    request = httpx.Request("GET", "http://127.44.3.71/")
    text = traced(lambda _: httpx.Response(200, headers={name: "Hidden1"}), request)
    assert ("Hidden1" not in text) == hidden
    assert name.lower() in text.lower()


def test_bodies_that_are_no_json() -> None:
    """A page as its text, nothing as nothing, bytes as what can be shown of them."""
    assert body_text(b"<h1>x</h1>", "text/html", NOTHING) == "<h1>x</h1>"
    assert body_text(b"", "application/json", NOTHING) == ""
    assert body_text(b"[" * 100_000, "application/json", NOTHING).startswith("[[[")
    assert "\ufffd" in body_text(b"\xff\xfe", "", NOTHING)


def test_nothing_is_told_that_moves_a_cursor() -> None:
    """Escapes and characters that turn the writing round are shown as what they are."""
    text = traced(
        lambda _: httpx.Response(200, content="a\x1b[31m\u202eb".encode()),
        httpx.Request("GET", "http://127.44.3.71/"),
    )
    assert "a\\u001b[31m\\u202eb" in text


def test_bodies_are_bounded() -> None:
    """No more lines than anyone would read, none wider than a screen or five."""
    lines = list(bounded("\n".join(["x" * 1000] * 5000)))
    assert len(lines) == MOST_LINES + 1
    assert len(lines[0]) == MOST_WIDE + len(" ...")
    assert lines[-1] == f"... and {5000 - MOST_LINES} more lines"
    assert list(bounded("a\nb")) == ["a", "b"]


def test_a_sign_in_by_cookie_is_told_without_secret_and_cookie() -> None:
    """Whoever describes the sign-in sees what was asked and what came, but for the words."""
    rule = WriteRule(
        method="POST", path="/in", body={"u": "{user}", "p": "{secret}"}, content_type=FORM
    )
    cookie = "cookie-4fW9-lantern"
    talk = answering(
        http(b"{}", "200 OK", f"Set-Cookie: sid={cookie}"), http(f'"{cookie}"'.encode())
    )
    text = on_wire(talk, SessionSignIn(rule, SECRET))
    assert "request 1 to rack-node at 127.44.3.71: POST /in" in text
    assert f"    u = engineer\n    p = {HIDDEN}\n" in text
    assert f"set-cookie: {HIDDEN}" in text
    assert "request 2 to rack-node at 127.44.3.71: GET /x?y=1" in text
    assert f'"{HIDDEN}"' in text
    assert cookie not in text
    assert CANARY not in text


def test_a_refusal_is_told_with_its_words() -> None:
    """An error's body is what helps."""
    text = on_wire(answering(http(b'{"problem": "no such path"}', "404 X")))
    assert "answer 1 after" in text
    assert '"problem": "no such path"' in text


def test_what_does_not_answer_is_told() -> None:
    """Silence, a body that breaks off, and one without end."""

    async def silent(_reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(60)

    assert "no answer to request 1 in time" in on_wire(silent, timeout_s=0.2)
    half = answering(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nabc", then_close=True)
    assert "    abc\n    and no more: it closed" in on_wire(half)
    garbage = answering(b"garbage\r\n\r\n", then_close=True)
    assert "no answer to request 1: it closed the connection early" in on_wire(garbage)

    async def endless(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n")
        for _ in range(1000):
            writer.write(b"10000\r\n" + b"x" * 65536 + b"\r\n")
            await writer.drain()

    text = on_wire(endless)
    assert "and no more: its answer is larger than is believed" in text
    assert len(text) < 5000


def test_a_body_that_nobody_reads_to_its_end_is_told_so() -> None:
    """What came until then is shown."""
    told: list[str] = []

    async def whole() -> None:
        network = Traced(
            httpx.MockTransport(lambda _: httpx.Response(200, content=b"abc")),
            PARTY,
            NOTHING,
            told.append,
        )
        response = await network.handle_async_request(httpx.Request("GET", "http://127.44.3.71/"))
        await response.aclose()

    asyncio.run(whole())
    assert told[-1].endswith("    and no more was read\n")
