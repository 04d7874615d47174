import asyncio
import hashlib
import re
from collections.abc import Callable

import httpx
import pytest

from orchestrator.adapters.http.session import SessionSignIn
from orchestrator.adapters.http.sign_in import DigestSignIn, sign_in
from orchestrator.errors import NoSecret
from orchestrator.facility.description import SignIn, WriteRule
from orchestrator.facility.secret import Secret

SESSION = WriteRule(method="POST", path="/in", body={"u": "{user}", "p": "{secret}"})
URL = "http://www.example.org/dir/index.html"


def signed(kind: SignIn, secret: Secret, header: str = "X-Node-Key") -> httpx.Headers:
    """The headers of a request that was signed without any challenge."""
    auth = sign_in(kind, secret, "engines", header)
    assert auth is not None
    return next(auth.auth_flow(httpx.Request("GET", URL))).headers


# RFC 7617, section 2 (the first example) and 2.1 (in UTF-8).
@pytest.mark.parametrize(
    ("user", "word", "token"),
    [
        ("Aladdin", "open sesame", "QWxhZGRpbjpvcGVuIHNlc2FtZQ=="),
        ("test", "123\u00a3", "dGVzdDoxMjPCow=="),
    ],
)
def test_basic(user: str, word: str, token: str) -> None:
    """The examples of the standard give the tokens printed there."""
    assert signed(SignIn.BASIC, Secret(user, word))["authorization"] == f"Basic {token}"


def test_bearer() -> None:
    """RFC 6750, section 2.1, the example; the token never stands in the URL (section 2.3)."""
    headers = signed(SignIn.BEARER, Secret("", "mF_9.B5f-4.1JqM"))
    assert headers["authorization"] == "Bearer mF_9.B5f-4.1JqM"


def test_api_key() -> None:
    """The key stands in the header that the device description names."""
    assert signed(SignIn.API_KEY, Secret("", "k-1"), "X-Node-Key")["x-node-key"] == "k-1"


def test_session() -> None:
    """A request of its own signs in; without a user name in it, a key alone is enough."""
    auth = sign_in(SignIn.SESSION, Secret("engineer", "x"), "engines", "X", SESSION)
    assert isinstance(auth, SessionSignIn)
    alone = WriteRule(method="POST", path="/in", body={"key": "{secret}"})
    assert sign_in(SignIn.SESSION, Secret("", "x"), "engines", "X", alone) is not None


def test_none() -> None:
    """A device without sign-in is sent nothing."""
    assert sign_in(SignIn.NONE, Secret("", ""), "", "X") is None


# RFC 7616, section 3.9.1: the challenge offers SHA-256 and MD5; each alone gives its response.
@pytest.mark.parametrize(
    ("algorithm", "response"),
    [
        ("MD5", "8ca523f5e9506fed4657c9700eebdbec"),
        ("SHA-256", "753927fa0e85d155564e2e272a28d1802ca10daf4496794697cf8db5856cb6c1"),
    ],
)
def test_digest(algorithm: str, response: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The example of the standard, with its client nonce, gives the response printed there."""
    auth = DigestSignIn("Mufasa", "Circle of Life")
    cnonce = b"f2/wE4q74E6zIJEtWaHKaf5wv/H5QzzpXusqGemxURZJ"
    monkeypatch.setattr(auth, "_get_client_nonce", lambda *_: cnonce)
    challenge = (
        'Digest realm="http-auth@example.org", qop="auth, auth-int", '
        f"algorithm={algorithm}, "
        'nonce="7ypf/xlj9XXwfDPEoM4URrv/xwf94BcCAzFZH4GiTo0v", '
        'opaque="FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS"'
    )
    request = httpx.Request("GET", URL)
    refused = httpx.Response(401, headers={"WWW-Authenticate": challenge}, request=request)
    flow = auth.auth_flow(request)
    assert "authorization" not in next(flow).headers
    again = flow.send(refused)
    written = again.headers["authorization"]
    assert f'response="{response}"' in written
    assert "nc=00000001" in written
    assert 'uri="/dir/index.html"' in written
    with pytest.raises(StopIteration):
        flow.send(refused)


def digest_server(user: str, word: str) -> Callable[[httpx.Request], httpx.Response]:
    """A server that computes by the formula of RFC 7616, 3.4.1, with a nonce for each request."""
    issued: list[str] = []

    def md5(text: str) -> str:
        return hashlib.md5(text.encode(), usedforsecurity=False).hexdigest()

    def answer(request: httpx.Request) -> httpx.Response:
        held = dict(re.findall(r'(\w+)="?([^",]*)"?', request.headers.get("authorization", "")))
        if held.get("nonce") in issued[-1:]:
            first = md5(f"{user}:desk:{word}")
            second = md5(f"{request.method}:{request.url.raw_path.decode()}")
            middle = f"{held['nonce']}:{held['nc']}:{held['cnonce']}:{held['qop']}"
            if held["response"] == md5(f"{first}:{middle}:{second}"):
                issued.append(f"n{len(issued)}")
                return httpx.Response(200)
        stale = ", stale=true" if held else ""
        issued.append(f"n{len(issued)}")
        challenge = f'Digest realm="desk", qop="auth", nonce="{issued[-1]}"{stale}'
        return httpx.Response(401, headers={"WWW-Authenticate": challenge})

    return answer


def statuses(auth: httpx.Auth, server: Callable[[httpx.Request], httpx.Response]) -> list[int]:
    """Three requests with bodies; each nonce is good once, so the later ones are stale."""

    async def whole() -> list[int]:
        network = httpx.MockTransport(server)
        async with httpx.AsyncClient(transport=network, auth=auth) as client:
            return [(await client.put(URL, json={"n": n})).status_code for n in range(3)]

    return asyncio.run(whole())


def test_digest_with_stale_nonces() -> None:
    """A stale nonce is no refusal: the new one is used (RFC 7616, 3.3, stale)."""
    auth = sign_in(SignIn.DIGEST, Secret("engineer", "Circle"), "engines", "X")
    assert auth is not None
    assert statuses(auth, digest_server("engineer", "Circle")) == [200, 200, 200]


def test_digest_with_the_wrong_word_stops_at_the_second_refusal() -> None:
    """Nobody's account is locked by trying on."""
    tries: list[httpx.Request] = []
    server = digest_server("engineer", "Circle")

    def counted(request: httpx.Request) -> httpx.Response:
        tries.append(request)
        return server(request)

    assert statuses(DigestSignIn("engineer", "Square"), counted) == [401, 401, 401]
    assert len(tries) <= 6


@pytest.mark.parametrize(
    "challenge",
    [
        'Digest realm="x", nonce="n", algorithm=SHA-512-256',
        'Digest realm="x", nonce="n", qop="auth-int"',
        'Digest realm="x"',
        "Digest nonsense",
        'Digest realm="x", nonce="n", qop="other"',
    ],
)
def test_an_unknown_challenge_is_one_error(challenge: str) -> None:
    """What the library can't answer ends in an error that the tables know."""
    flow = DigestSignIn("engineer", "x").auth_flow(httpx.Request("GET", URL))
    next(flow)
    with pytest.raises(httpx.ProtocolError):
        flow.send(httpx.Response(401, headers={"WWW-Authenticate": challenge}))


def test_another_scheme_gets_no_answer() -> None:
    """A device that asks for Basic is not given the word of a Digest sign-in."""
    flow = DigestSignIn("engineer", "x").auth_flow(httpx.Request("GET", URL))
    next(flow)
    with pytest.raises(StopIteration):
        flow.send(httpx.Response(401, headers={"WWW-Authenticate": 'Basic realm="x"'}))


@pytest.mark.parametrize(
    ("kind", "user", "word", "words"),
    [
        (SignIn.BASIC, "", "canary", "no user name"),
        (SignIn.DIGEST, "", "canary", "no user name"),
        (SignIn.BASIC, "a:b", "canary", "colon"),
        (SignIn.DIGEST, 'a"b', "canary", "quotation mark"),
        (SignIn.BASIC, "a", "canary\n", "control character"),
        (SignIn.BEARER, "user", "canary", "key alone"),
        (SignIn.API_KEY, "user", "canary", "key alone"),
        (SignIn.API_KEY, "", "canary\r\nX: y", "can't stand in a header"),
        (SignIn.API_KEY, "", "canary\u00f1", "can't stand in a header"),
        (SignIn.BEARER, "", "", "empty"),
        (SignIn.SESSION, "", "canary", "no user name"),
    ],
)
def test_a_secret_that_does_not_fit_is_told(kind: SignIn, user: str, word: str, words: str) -> None:
    """Before anything is sent; the credential is named, the secret is not."""
    with pytest.raises(NoSecret, match=words) as caught:
        sign_in(kind, Secret(user, word), "engines", "X-Node-Key", SESSION)
    assert "engines" in caught.value.what
    assert "canary" not in caught.value.what + caught.value.fix
