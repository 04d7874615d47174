import asyncio
import json
import logging
from collections.abc import Callable
from urllib.parse import parse_qsl

import httpx
import pytest

from orchestrator.adapters.declared.bodies import FORM
from orchestrator.adapters.http.faults import JOURNEY, Journey, NotSignedIn, Stage
from orchestrator.adapters.http.messages import Party, Request, Response
from orchestrator.adapters.http.session import SessionSignIn
from orchestrator.adapters.http.transport import Transport
from orchestrator.errors import (
    Broken,
    Busy,
    DeviceError,
    OutcomeUnknown,
    SignInRefused,
    Unreachable,
)
from orchestrator.facility.description import WriteRule
from orchestrator.facility.secret import Secret
from tests.adapters.servers import Talk, http, serving

BODY = {"login": {"user": "{user}", "pass": "{secret}"}}
RULE = WriteRule(method="POST", path="/session", body=BODY)
SECRET = Secret("engineer", "canary-7Zq/hollow+31")
PARTY = Party(device="desk", address="127.0.0.1")
READ = Request(method="GET", path="/x", doing="reading")
WRITE = Request(method="PUT", path="/x", doing="writing", body={"n": 1})
URL = "http://127.0.0.1:8080/x"


def answer(status: int, *cookies: str) -> httpx.Response:
    """An answer that sets cookies."""
    return httpx.Response(status, headers=[(b"Set-Cookie", cookie.encode()) for cookie in cookies])


def test_the_first_request_signs_in_first() -> None:
    """One request with the secret in its body, then the cookie, then the cookie alone."""
    auth = SessionSignIn(RULE, SECRET)
    request = httpx.Request("PUT", URL, json={"n": 1})
    flow = auth.auth_flow(request)
    asked = next(flow)
    assert (asked.method, str(asked.url)) == ("POST", "http://127.0.0.1:8080/session")
    assert json.loads(asked.content) == {
        "login": {"user": "engineer", "pass": "canary-7Zq/hollow+31"}
    }
    assert "cookie" not in asked.headers
    signed = flow.send(answer(200, "sid=a1; Path=/; HttpOnly", "site=x"))
    assert signed is request
    assert signed.headers["cookie"] == "sid=a1; site=x"
    with pytest.raises(StopIteration):
        flow.send(answer(200))
    second = auth.auth_flow(httpx.Request("GET", URL))
    assert next(second).headers["cookie"] == "sid=a1; site=x"
    with pytest.raises(StopIteration):
        second.send(answer(404))


def test_a_form_signs_in_too() -> None:
    """Written as a form where the description says so; a method and path of its own."""
    rule = WriteRule(method="PUT", path="/in", body={"u": "{user}", "p": "{secret}"})
    asked = next(
        SessionSignIn(
            WriteRule(method="PUT", path="/in", body=rule.body, content_type=FORM), SECRET
        ).auth_flow(httpx.Request("GET", URL))
    )
    assert asked.headers["content-type"] == FORM
    assert parse_qsl(asked.content.decode()) == [("u", "engineer"), ("p", SECRET.reveal())]


def test_a_cookie_that_is_taken_no_more_is_renewed_once() -> None:
    """A 401 in the middle of a run: sign in again, send again; a second 401 stands."""
    auth = SessionSignIn(RULE, SECRET)
    flow = auth.auth_flow(httpx.Request("GET", URL))
    next(flow)
    flow.send(answer(200, "sid=old"))
    later = auth.auth_flow(httpx.Request("PUT", URL))
    assert next(later).headers["cookie"] == "sid=old"
    assert later.send(answer(401)).url.path == "/session"
    assert later.send(answer(204, "sid=new")).headers["cookie"] == "sid=new"
    with pytest.raises(StopIteration):
        later.send(answer(401))


def test_a_refusal_right_after_the_sign_in_is_a_refusal() -> None:
    """What the fresh cookie may not do is not tried again, and nobody's account is locked."""
    flow = SessionSignIn(RULE, SECRET).auth_flow(httpx.Request("GET", URL))
    next(flow)
    flow.send(answer(200, "sid=a"))
    with pytest.raises(StopIteration):
        flow.send(answer(401))


def test_somebody_else_has_signed_in_meanwhile() -> None:
    """Two requests at once: the second to be refused uses the cookie that the first got."""
    auth = SessionSignIn(RULE, SECRET)
    first = auth.auth_flow(httpx.Request("GET", URL))
    next(first)
    first.send(answer(200, "sid=1"))
    one, other = (auth.auth_flow(httpx.Request("GET", URL)) for _ in range(2))
    next(one)
    next(other)
    one.send(answer(401))
    one.send(answer(200, "sid=2"))
    assert other.send(answer(401)).headers["cookie"] == "sid=2"


@pytest.mark.parametrize(
    "cookie",
    [
        "",
        "sid",
        "=x",
        "sid=",
        "sid=a b",
        "sid=caf\u00e9",
        "sid=a,b",
        "sid=a\\b",
        "s d=1",
        "sid=\x01",
    ],
)
def test_a_cookie_that_could_end_a_header_is_none(cookie: str) -> None:
    """RFC 6265, 4.1.1: what is no cookie value is not sent anywhere."""
    flow = SessionSignIn(RULE, SECRET).auth_flow(httpx.Request("GET", URL))
    next(flow)
    with pytest.raises(NotSignedIn):
        flow.send(answer(200, cookie))


def test_the_journey_knows_what_is_under_way() -> None:
    """While a sign-in is under way, the request itself was surely not sent."""
    journey = Journey()
    request = httpx.Request("PUT", URL, extensions={JOURNEY: journey})
    flow = SessionSignIn(RULE, SECRET).auth_flow(request)
    stages = [journey.stage]
    asked = next(flow)
    stages.append(journey.stage)
    flow.send(answer(200, "sid=1"))
    assert [*stages, journey.stage] == [Stage.UNKNOWN, Stage.DIALLING, Stage.UNKNOWN]
    assert "trace" not in asked.extensions


def test_it_prints_as_nothing_and_tells_its_cookie_to_be_hidden() -> None:
    """A cookie is as good as the secret."""
    auth = SessionSignIn(RULE, SECRET)
    learned: list[str] = []
    auth.learn = learned.append
    flow = auth.auth_flow(httpx.Request("GET", URL))
    next(flow)
    flow.send(answer(200, "sid=hidden-cookie"))
    assert learned == ["hidden-cookie"]
    assert repr(auth) == "SessionSignIn()"


def talking(*answers: tuple[int, str, str]) -> Talk:
    """Answer one after another: status, cookie, body; the last for ever."""
    left = list(answers)

    async def talk(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        status, cookie, body = left.pop(0) if len(left) > 1 else left[0]
        headers = [f"Set-Cookie: {cookie}"] if cookie else []
        writer.write(http(body.encode(), f"{status} X", *headers))
        await writer.drain()

    return talk


def over_sockets(
    talk: Talk, *requests: Request
) -> tuple[list[Response | DeviceError], list[bytes]]:
    """Send requests over one transport; gives what came of each, and what the device got."""

    async def whole() -> tuple[list[Response | DeviceError], list[bytes]]:
        found: list[Response | DeviceError] = []
        async with serving(talk) as server:
            transport = Transport(
                PARTY,
                f"http://127.0.0.1:{server.port}",
                timeout_s=1.0,
                auth=SessionSignIn(RULE, SECRET),
                secret=SECRET,
            )
            for request in requests:
                try:
                    found.append(await transport.send(request))
                except DeviceError as error:
                    found.append(error)
            await transport.close()
            return found, server.heard

    return asyncio.run(whole())


def test_over_a_socket_a_session_that_ends_is_renewed_under_a_write() -> None:
    """The write is sent again after its 401, once, with the new cookie; nobody else gets it."""
    found, heard = over_sockets(
        talking(
            (200, "sid=1", ""), (200, "", "{}"), (401, "", ""), (200, "sid=2", ""), (204, "", "")
        ),
        READ,
        WRITE,
    )
    assert [type(one) for one in found] == [Response, Response]
    assert [line.split(b" HTTP", 1)[0] for line in heard] == [
        b"POST /session",
        b"GET /x",
        b"PUT /x",
        b"POST /session",
        b"PUT /x",
    ]
    assert b"Cookie: sid=2\r\n" in heard[-1]
    assert heard[-1].endswith(b'{"n": 1}')
    assert SECRET.reveal().encode() not in heard[1] + heard[2] + heard[4]


@pytest.mark.parametrize(
    ("answered", "read", "write", "said"),
    [
        ((401, "", '{"problem": "wrong"}'), SignInRefused, SignInRefused, "401: wrong"),
        ((403, "sid=1", ""), SignInRefused, SignInRefused, "403"),
        ((200, "", "<h1>wrong</h1>"), SignInRefused, SignInRefused, "200, and no cookie was set"),
        ((302, "", ""), SignInRefused, SignInRefused, "302, and no cookie was set"),
        ((503, "", ""), Busy, Busy, "503"),
        ((500, "", "boom"), Broken, SignInRefused, "500: boom"),
    ],
)
def test_a_sign_in_that_fails_is_told_and_nothing_is_written(
    answered: tuple[int, str, str], read: type[DeviceError], write: type[DeviceError], said: str
) -> None:
    """The device's words about the sign-in, and never an unknown outcome: nothing was sent."""
    found, heard = over_sockets(talking(answered), READ, WRITE)
    assert [type(one) for one in found] == [read, write]
    for one in found:
        assert isinstance(one, DeviceError)
        assert one.said == f"at the sign-in, {said}"
    assert all(line.startswith(b"POST /session") for line in heard)


def test_a_device_that_redirects_after_the_sign_in_is_not_followed() -> None:
    """Some answer a sign-in with a redirect to a page; the cookie counts, the page does not."""
    found, heard = over_sockets(talking((302, "sid=1", ""), (200, "", "{}")), READ)
    assert isinstance(found[0], Response)
    assert len(heard) == 2


async def silent(_reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
    """Never answer."""
    await asyncio.sleep(60)


def test_a_sign_in_without_answer_leaves_no_doubt_about_the_write() -> None:
    """It was never sent; a write that was sent and lost is another matter."""
    found, heard = over_sockets(silent, WRITE)
    assert type(found[0]) is Unreachable
    assert len(heard) == 1
    lost, _ = over_sockets(_first_then_silent(), READ, WRITE)
    assert type(lost[1]) is OutcomeUnknown


def _first_then_silent() -> Talk:
    first = talking((200, "sid=1", ""), (200, "", "{}"))
    count = 0

    async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal count
        count += 1
        await (first if count <= 2 else silent)(reader, writer)

    return talk


def test_neither_secret_nor_cookie_reaches_a_log_or_an_error(
    caplog: pytest.LogCaptureFixture,
) -> None:
    """Against a device that repeats its cookie in its words, with every library at DEBUG."""
    cookie = "cookie-4fW9-lantern"
    said = f"you are {cookie} {SECRET.reveal()}"
    with caplog.at_level(logging.DEBUG):
        found, _ = over_sockets(talking((200, f"sid={cookie}", ""), (409, "", said)), WRITE)
    assert isinstance(found[0], DeviceError)
    told = caplog.text + repr(found[0]) + "".join(repr(vars(r)) for r in caplog.records)
    assert caplog.records
    assert cookie not in told
    assert SECRET.reveal() not in told


def test_two_devices_share_no_cookie() -> None:
    """Each way to a device holds its own."""
    made: list[Callable[[], httpx.Auth]] = [lambda: SessionSignIn(RULE, SECRET)] * 2
    first, second = (make() for make in made)
    flow = first.auth_flow(httpx.Request("GET", URL))
    next(flow)
    flow.send(answer(200, "sid=1"))
    assert next(second.auth_flow(httpx.Request("GET", URL))).url.path == "/session"
