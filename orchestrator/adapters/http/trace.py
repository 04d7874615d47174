"""What is said to a device and what it answers, as text: for whoever describes a new make.

Each request is told with its headers and body, each answer with its status, headers and body; a
sign-in that comes before a request is told too. No secret stands in it: neither the one that was
sent, in any form, nor what by its name looks like one (a header, or a member of a JSON body).
Bodies are indented and cut off after :data:`MOST_LINES` lines.
"""

import asyncio
import json
import re
import time
import unicodedata
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from urllib.parse import parse_qsl

import httpx

from orchestrator.adapters.declared.bodies import FORM, kind_of
from orchestrator.adapters.http import faults
from orchestrator.adapters.http.json_pointer import Unusable, document
from orchestrator.adapters.http.messages import Party
from orchestrator.adapters.http.redact import HIDDEN
from orchestrator.facility.description import Json

MOST_LINES = 200
"""Lines of one body that are shown."""

MOST_WIDE = 400
"""Characters of one line that are shown."""

Tell = Callable[[str], None]
Redact = Callable[[str], str]
_HEADER = re.compile(r"(?i)auth|cookie|token|secret|session|-key$|^key$")
_OPEN = frozenset({"www-authenticate"})  # it says how to sign in, and holds no secret
_MEMBER = re.compile(
    r"(?i)(^|[_-])(pass|pwd|psk|token|secret)($|[_-])|pass(word|wd|phrase)|secret|token"
    r"|(api|private)[_-]?key"
)
_NOT_SHOWN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


class Traced(httpx.AsyncBaseTransport):
    """Tells every request and its answer; what is sent and received stays as it is."""

    def __init__(
        self,
        inner: httpx.AsyncBaseTransport,
        party: Party,
        redact: Redact,
        tell: Tell,
        now: Callable[[], float] = time.perf_counter,
    ) -> None:
        self._inner = inner
        self._party = party
        self._redact = redact
        self._tell = tell
        self._now = now
        self._count = 0

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Send ``request`` on, and tell it; its answer is told once it has been read."""
        self._count += 1
        number, start = self._count, self._now()
        self._tell(self._asked(number, request))
        try:
            response = await self._inner.handle_async_request(request)
        except faults.KNOWN as error:
            self._tell(f"no answer to request {number}: {faults.in_words(error)}\n")
            raise
        except asyncio.CancelledError:
            self._tell(f"no answer to request {number} in time\n")
            raise
        if not isinstance(response.stream, httpx.AsyncByteStream):
            raise httpx.StreamClosed

        def heard(body: bytes, lacking: str) -> None:
            seconds = self._now() - start
            self._tell(self._answered(number, seconds, response, body, lacking))

        return httpx.Response(
            response.status_code,
            headers=response.headers,
            stream=_Heard(response.stream, heard),
            extensions=response.extensions,
        )

    async def aclose(self) -> None:
        """Close what is below."""
        await self._inner.aclose()

    def _asked(self, number: int, request: httpx.Request) -> str:
        place = f"{self._party.device} at {self._party.address}"
        first = f"request {number} to {place}: {request.method} {request.url.raw_path.decode()}"
        return self._text(first, request.headers, request.read())

    def _answered(
        self, number: int, seconds: float, response: httpx.Response, body: bytes, lacking: str
    ) -> str:
        first = f"answer {number} after {seconds * 1000:.0f} ms: {response.status_code}"
        return self._text(first, response.headers, body) + lacking

    def _text(self, first: str, headers: httpx.Headers, body: bytes) -> str:
        lines = [self._redact(first)]
        for name, value in headers.multi_items():
            hidden = _HEADER.search(name) is not None and name.lower() not in _OPEN
            lines.append(f"    {name}: {HIDDEN if hidden else self._redact(value)}")
        shown = body_text(body, headers.get("content-type", ""), self._redact)
        lines.extend(f"    {line}" for line in bounded(shown))
        return "\n".join(map(_plain, lines)) + "\n"


class _Heard(httpx.AsyncByteStream):
    """A body that is passed on as it comes, and told when it has ended, well or not."""

    def __init__(self, stream: httpx.AsyncByteStream, heard: Callable[[bytes, str], None]) -> None:
        self._stream = stream
        self._heard: Callable[[bytes, str], None] | None = heard
        self._parts: list[bytes] = []

    async def __aiter__(self) -> AsyncIterator[bytes]:
        try:
            async for chunk in self._stream:
                self._parts.append(chunk)
                yield chunk
        except faults.KNOWN as error:
            self._end(f"    and no more: {faults.in_words(error)}\n")
            raise
        self._end("")

    async def aclose(self) -> None:
        self._end("    and no more was read\n")
        await self._stream.aclose()

    def _end(self, lacking: str) -> None:
        heard, self._heard = self._heard, None
        if heard is not None:
            heard(b"".join(self._parts), lacking)


def body_text(body: bytes, content_type: str, redact: Redact) -> str:
    """A body to be looked at: JSON indented, a form by its names, anything else as its text."""
    if not body:
        return ""
    if kind_of(content_type) == FORM:
        pairs = parse_qsl(body.decode(errors="replace"), keep_blank_values=True)
        return redact("\n".join(f"{name} = {_hidden(name, value)}" for name, value in pairs))
    try:
        value = document(body)
    except Unusable:
        return redact(body.decode(errors="replace"))
    return redact(json.dumps(_without(value), ensure_ascii=False, indent=2))


def bounded(text: str) -> Iterator[str]:
    """The lines of ``text``, of which no more are given than anyone would read."""
    lines = text.splitlines()
    for line in lines[:MOST_LINES]:
        yield line if len(line) <= MOST_WIDE else f"{line[:MOST_WIDE]} ..."
    if len(lines) > MOST_LINES:
        yield f"... and {len(lines) - MOST_LINES} more lines"


def _without(value: Json) -> Json:
    """``value`` without what by its name looks like a secret."""
    if isinstance(value, Mapping):
        return {name: _hidden(name, _without(held)) for name, held in value.items()}
    if isinstance(value, list):
        return [_without(item) for item in value]
    return value


def _hidden(name: str, value: Json) -> Json:
    if isinstance(value, str) and value and _MEMBER.search(name):
        return HIDDEN
    return value


def _plain(text: str) -> str:
    """``text`` without what could move a cursor or turn the writing round."""
    return "".join(f"\\u{ord(c):04x}" if unicodedata.category(c) in _NOT_SHOWN else c for c in text)
