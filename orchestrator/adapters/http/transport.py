"""One request to a device over HTTP, bounded in time and size.

The deadline is for the whole request, answer included, however slowly it trickles. Redirects are
not followed, no proxy is taken from the environment, no cookie is kept but that of a sign-in by
cookie, and nothing is sent twice: but for a request that was answered with 401, which says that it
was not done, and only once (a Digest challenge, RFC 7616; a cookie that is taken no more).
"""

import asyncio
import re
import ssl
from collections.abc import AsyncIterator, Iterable
from functools import lru_cache

import httpx

from orchestrator.adapters.declared.bodies import encoded
from orchestrator.adapters.http import answers, certificates, faults
from orchestrator.adapters.http.dial import Dialled, Target
from orchestrator.adapters.http.faults import JOURNEY, Journey, NotSignedIn, TooLarge
from orchestrator.adapters.http.messages import Party, Request, Response
from orchestrator.adapters.http.redact import LogGuard, Redactor
from orchestrator.adapters.http.session import SessionSignIn
from orchestrator.adapters.http.sign_in import HeaderSignIn
from orchestrator.adapters.http.trace import Tell, Traced
from orchestrator.adapters.http.wire import Wire
from orchestrator.errors import Rejected
from orchestrator.facility.secret import Secret

BODY_LIMIT = 2 * 1024 * 1024
"""Bytes of an answer that are believed; a device's whole state is far smaller."""

_ALWAYS = (
    ("Accept", "application/json, application/problem+json"),
    ("Accept-Encoding", "identity"),
    ("Connection", "keep-alive"),
    ("User-Agent", "cutsheet"),
)


_PLAIN_PATH = re.compile("/(?!/)[!-~]*")
"""A path, and not the name of another host (RFC 3986, 3.3 and 4.2)."""

_WITH_LENGTH = frozenset({"POST", "PUT", "PATCH"})


class Transport:
    """The way to one device. ``base`` is its scheme, address and port as a URL.

    ``network`` takes the place of the real network (simulated devices in memory). ``dial`` is
    where the connection goes instead, the device's name in headers and TLS being kept. ``tls`` is
    what certificates are judged by (None: this computer's trust), ``tls_name`` what they have to
    name (None: the device's address). ``trace`` is told each request and answer as text, without
    secrets; ``also_secret`` are further ones that it may be sent.
    """

    def __init__(
        self,
        party: Party,
        base: str,
        *,
        timeout_s: float,
        auth: httpx.Auth | None = None,
        secret: Secret | None = None,
        dial: Target | None = None,
        network: httpx.AsyncBaseTransport | None = None,
        tls: ssl.SSLContext | None = None,
        tls_name: str | None = None,
        also_secret: Iterable[Secret] = (),
        body_limit: int = BODY_LIMIT,
        trace: Tell | None = None,
    ) -> None:
        self._party = party
        self._origin, self._base = base, _parsed(base)
        self._timeout_s = timeout_s
        self._redact = Redactor(secret)
        for other in also_secret:
            self._redact.learn_secret(other)
        self._name = tls_name or self._base.host
        self._guard = LogGuard(self._redact)
        self._guard.stand()
        if isinstance(auth, SessionSignIn):
            auth.learn = self._redact.learn
        inner = network or Wire(tls or certificates.by_system())
        way: httpx.AsyncBaseTransport = Dialled(inner, dial) if dial else inner
        way = _Bounded(way, body_limit)
        self._way = Traced(way, party, self._redact, trace) if trace else way
        self._auth = auth
        self._extensions = {
            "timeout": httpx.Timeout(timeout_s).as_dict(),
            "sni_hostname": self._name,
        }

    async def send(self, request: Request) -> Response:
        """Send ``request`` once and give its answer, which is 2xx or one of ``also_fine``.

        Raises:
            DeviceError: of the kind that the tables in ``answers`` and ``faults`` say.
        """
        journey = Journey()
        try:
            async with asyncio.timeout(self._timeout_s):
                response = await self._exchange(request, journey)
            failure = answers.judge(request, response, self._party, self._redact)
        except NotSignedIn as error:
            failure = answers.judge_sign_in(request, error.response, self._party, self._redact)
        except faults.KNOWN as error:
            failure = faults.judge(error, journey.stage, request, self._party, self._name)
        # Raised out here, so that no library error with a signed request in it hangs on.
        if failure is not None:
            raise failure
        return response

    def clean(self, words: str) -> str:
        """``words`` that may quote the device, fit to be shown: no secret, no control codes."""
        return answers.clean(words, self._redact)

    def held(self, text: str) -> str:
        """``text`` of a device's own state, fit to be kept: without the secret."""
        return self._redact.of_what_is_held(text)

    async def close(self) -> None:
        """Close the connections."""
        await self._way.aclose()
        self._guard.leave()

    async def _exchange(self, request: Request, journey: Journey) -> Response:
        url, always = self._url(request)
        body = encoded(request.body, request.content_type)
        own = _own_headers(request, body)
        asked = httpx.Request(
            request.method,
            url,
            headers=[*_always(url), *own] if own else always,
            stream=httpx.ByteStream(body or b""),
            extensions={**self._extensions, "trace": journey.note, JOURNEY: journey},
        )
        answer = await self._signed(asked)
        if isinstance(answer.stream, httpx.ByteStream):  # it has come, and holds nothing open
            body = b"".join(answer.stream)
            return Response(status=answer.status_code, headers=_told(answer), body=body)
        try:
            body = b"".join([part async for part in answer.aiter_raw()])
            return Response(status=answer.status_code, headers=_told(answer), body=body)
        finally:
            await answer.aclose()

    async def _signed(self, asked: httpx.Request) -> httpx.Response:
        """Send what ``auth`` makes of ``asked``, and what it makes of the answer."""
        if isinstance(self._auth, HeaderSignIn):
            self._auth.sign(asked)
        if self._auth is None or isinstance(self._auth, HeaderSignIn):
            return await self._answered(asked)
        flow = self._auth.async_auth_flow(asked)
        try:
            request = await anext(flow)
            while True:
                answer = await self._answered(request)
                try:
                    request = await flow.asend(answer)
                except StopAsyncIteration:
                    return answer
                except BaseException:
                    await answer.aclose()
                    raise
                await answer.aclose()
        finally:
            await flow.aclose()

    async def _answered(self, request: httpx.Request) -> httpx.Response:
        answer = await self._way.handle_async_request(request)
        answer.request = request
        return answer

    def _url(self, request: Request) -> tuple[httpx.URL, httpx.Headers]:
        """The URL of ``request``, which leads to this device and nowhere else, and its headers.

        Both are kept: to make them takes longer than all else that is done for a request.
        """
        path, port = request.path, self._base.port if request.port is None else request.port
        if not _PLAIN_PATH.fullmatch(path) or "/../" in path + "/":
            said = f"{path} is no path on the device"
            raise Rejected(self._party.device, self._party.address, request.doing, said)
        return _place(self._origin, path, port)


@lru_cache(maxsize=16384)
def _place(origin: str, path: str, port: int | None) -> tuple[httpx.URL, httpx.Headers]:
    """A URL, and the headers that every request to it has."""
    url = _parsed(origin).copy_with(raw_path=path.encode("ascii"), port=port)
    return url, httpx.Headers(_always(url))


@lru_cache(maxsize=4096)
def _parsed(origin: str) -> httpx.URL:
    """An origin; to read it takes as long as to make one of its URLs."""
    return httpx.URL(origin)


class _Bounded(httpx.AsyncBaseTransport):
    """Refuses answers that are too large or packed, the ones to a sign-in's first try included."""

    def __init__(self, inner: httpx.AsyncBaseTransport, limit: int) -> None:
        self._inner = inner
        self._limit = limit

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        response = await self._inner.handle_async_request(request)
        # By their bytes: to ask for one by its text, all of them are decoded first.
        if any(name.lower() == b"content-encoding" for name, _ in response.headers.raw):
            await self._refuse_packed(response)
        if isinstance(response.stream, httpx.ByteStream):
            if len(b"".join(response.stream)) > self._limit:
                raise TooLarge
        elif isinstance(response.stream, httpx.AsyncByteStream):
            response.stream = _BoundedStream(response.stream, self._limit)
        else:
            raise httpx.StreamClosed
        return response

    @staticmethod
    async def _refuse_packed(response: httpx.Response) -> None:
        if response.headers["content-encoding"].lower() != "identity":
            await response.aclose()
            raise httpx.DecodingError("packed")

    async def aclose(self) -> None:
        await self._inner.aclose()


class _BoundedStream(httpx.AsyncByteStream):
    def __init__(self, stream: httpx.AsyncByteStream, limit: int) -> None:
        self._stream = stream
        self._limit = limit

    async def __aiter__(self) -> AsyncIterator[bytes]:
        left = self._limit
        async for chunk in self._stream:
            left -= len(chunk)
            if left < 0:
                raise TooLarge
            yield chunk

    async def aclose(self) -> None:
        await self._stream.aclose()


def _always(url: httpx.URL) -> list[tuple[str, str]]:
    """The headers that every request to ``url`` has."""
    return [("Host", url.netloc.decode("ascii")), *_ALWAYS]


def _own_headers(request: Request, body: bytes | None) -> list[tuple[str, str]]:
    """Those of this request; a write without a body has a length, too (RFC 9110, 8.6)."""
    headers: list[tuple[str, str]] = []
    if body is not None:
        headers.append(("Content-Type", request.content_type))
    if body is not None or request.method in _WITH_LENGTH:
        headers.append(("Content-Length", str(len(body or b""))))
    return [*headers, *request.headers]


def _told(answer: httpx.Response) -> dict[str, str]:
    """The headers of an answer by their names in lower case; of one that comes twice, both."""
    told: dict[str, str] = {}
    for raw_name, raw in answer.headers.raw:
        name, value = raw_name.lower().decode("latin-1"), raw.decode("latin-1")
        told[name] = f"{told[name]}, {value}" if name in told else value
    return told
