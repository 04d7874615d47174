"""Signing in by a cookie: one request with the secret, then a cookie that stands for it.

The cookie is kept in memory, for this one device and address, and goes nowhere else. The device's
own rules for it (path, domain, life time; RFC 6265, section 5) are not weighed: a cookie that it
takes no more is answered with 401, and then the sign-in is made anew, once. A 401 says that the
request was not done (RFC 9110, 15.5.2), so it may be sent again, a write too.
"""

import re
from collections.abc import AsyncGenerator, Callable, Generator

import httpx

from orchestrator.adapters.declared.bodies import encoded, fill
from orchestrator.adapters.http.faults import JOURNEY, Journey, NotSignedIn
from orchestrator.adapters.http.messages import Response
from orchestrator.facility.description import WriteRule
from orchestrator.facility.secret import Secret

REFUSED = 401
_FIRST_ERROR = 400
_PAIR = re.compile(r"([!#$%&'*+.^_`|~0-9A-Za-z-]+)=([\x21\x23-\x2b\x2d-\x3a\x3c-\x5b\x5d-\x7e\"]*)")
"""A cookie's name and value (RFC 6265, section 4.1.1): nothing that could end a header."""

_MOST_COOKIES = 16


class SessionSignIn(httpx.Auth):
    """Signs in by ``rule`` where no cookie is held, and puts the cookie on each request.

    ``learn`` is told each cookie's value, for it is as good as the secret.
    """

    def __init__(self, rule: WriteRule, secret: Secret) -> None:
        self._rule = rule
        self._secret = secret
        self._cookies: dict[str, str] = {}
        self.learn: Callable[[str], None] = lambda _: None

    def __repr__(self) -> str:
        return "SessionSignIn()"

    def auth_flow(self, request: httpx.Request) -> Generator[httpx.Request, httpx.Response, None]:
        """Sign ``request``, after a sign-in where none is held.

        Raises:
            NotSignedIn: the device did not take the sign-in; ``request`` was not done.
        """
        fresh = not self._cookies
        if fresh:
            yield from self._sign_in(request)
        used = self._header()
        request.headers["Cookie"] = used
        response = yield request
        if response.status_code != REFUSED or fresh:
            return
        if self._header() == used:  # nobody else has signed in meanwhile
            yield from self._sign_in(request)
        request.headers["Cookie"] = self._header()
        yield request

    async def async_auth_flow(
        self, request: httpx.Request
    ) -> AsyncGenerator[httpx.Request, httpx.Response]:
        """The same for the client that we have; of a sign-in, the device's words are read too."""
        flow = self.auth_flow(request)
        asked = next(flow)
        while True:
            response = yield asked
            if asked is not request:
                await response.aread()
            try:
                asked = flow.send(response)
            except StopIteration:
                return

    def _sign_in(self, request: httpx.Request) -> Generator[httpx.Request, httpx.Response, None]:
        journey = request.extensions.get(JOURNEY, Journey())
        journey.signing_in = True
        response = yield self._asking(request)
        journey.signing_in = False
        self._cookies = _cookies(response)
        for value in self._cookies.values():
            self.learn(value)
        if response.status_code >= _FIRST_ERROR or not self._cookies:
            self._cookies = {}
            raise NotSignedIn(_answer(response))

    def _asking(self, request: httpx.Request) -> httpx.Request:
        values = {"user": self._secret.user, "secret": self._secret.reveal()}
        body = encoded(fill(self._rule, values), self._rule.content_type)
        kept = {name: request.headers[name] for name in _KEPT if name in request.headers}
        return httpx.Request(
            self._rule.method,
            request.url.copy_with(raw_path=self._rule.path.encode("ascii")),
            headers={**kept, "Content-Type": self._rule.content_type},
            content=body,
            extensions={name: held for name, held in request.extensions.items() if name != "trace"},
        )

    def _header(self) -> str:
        return "; ".join(f"{name}={value}" for name, value in self._cookies.items())


_KEPT = ("accept", "accept-encoding", "user-agent")


def _answer(response: httpx.Response) -> Response:
    body = response.content if response.is_closed else b""
    return Response(status=response.status_code, headers=dict(response.headers), body=body)


def _cookies(response: httpx.Response) -> dict[str, str]:
    """The cookies that an answer sets; what can't stand in a header is left out."""
    found: dict[str, str] = {}
    for line in response.headers.get_list("set-cookie"):
        pair = _PAIR.fullmatch(line.partition(";")[0].strip())
        if pair is not None and pair[2]:
            found[pair[1]] = pair[2]
    return dict(list(found.items())[:_MOST_COOKIES])
