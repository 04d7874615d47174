"""Connections that go elsewhere: ``--connect 127.44.3.31=localhost:9031``."""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

import httpx

from orchestrator.errors import CallError


@dataclass(frozen=True, slots=True)
class Target:
    """Where a connection goes."""

    host: str
    port: int


class Dialled(httpx.AsyncBaseTransport):
    """Sends every request to one target; Host header and TLS name stay those of the URL."""

    def __init__(self, inner: httpx.AsyncBaseTransport, target: Target) -> None:
        self._inner = inner
        self._target = target

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Send ``request`` to the target."""
        request.headers.setdefault("Host", request.url.netloc.decode("ascii"))
        request.extensions = {"sni_hostname": request.url.host, **request.extensions}
        asked = request.url
        request.url = asked.copy_with(host=self._target.host, port=self._target.port)
        try:
            return await self._inner.handle_async_request(request)
        finally:
            request.url = asked

    async def aclose(self) -> None:
        """Close what is below."""
        await self._inner.aclose()


def check(connect: Mapping[str, str]) -> None:
    """Look whether a connect map, address -> ``host:port``, is written right.

    Raises:
        CallError: an entry is not.
    """
    for address, written in connect.items():
        _target(address, written)


def target_of(connect: Mapping[str, str], address: str) -> Target | None:
    """Where connections to ``address`` go, by a connect map; None: to the address itself.

    The map is asked anew each time: it may grow while devices move.
    """
    written = connect.get(address)
    return None if written is None else _target(address, written)


def without_sign_in(url: str) -> str:
    """A URL, or what was meant as one, without the sign-in that somebody wrote into it."""
    scheme, slashes, rest = url.rpartition("//")
    return f"{scheme}{slashes}{rest.rpartition('@')[2]}" if "@" in rest else url


def _target(address: str, written: str) -> Target:
    try:
        parts = urlsplit(f"//{written}")
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if not host or not port or parts.path or parts.username is not None:
        raise CallError(
            f"{address} can't be connected to '{without_sign_in(written)}'",
            "write it as ADDRESS=HOST:PORT (an IPv6 host in brackets), for example "
            "127.44.3.31=localhost:9031",
        )
    return Target(host, port)
