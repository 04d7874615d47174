"""Which error a failure on the way is.

The rule: a certificate that is not trusted is ``Untrusted``, and nothing was sent. Another failure
before the request could have been sent is ``Unreachable``. After that, a read
is ``Unreachable`` (the way failed) or ``Broken`` (the answer makes no sense), and a write is
``OutcomeUnknown`` always: the device may have got it.

Every class of error that the HTTP library has stands in one of the tables; a test fails when the
installed library has one that does not.
"""

from enum import Enum
from typing import Any

import httpx

from orchestrator.adapters.http import certificates
from orchestrator.adapters.http.messages import Party, Request, Response
from orchestrator.errors import Broken, DeviceError, OutcomeUnknown, Unreachable


class TooLarge(Exception):
    """An answer is larger than is believed. Stays inside this package."""


class NotSignedIn(Exception):
    """The device did not take a sign-in, so nothing else was sent. Stays inside this package."""

    def __init__(self, response: Response) -> None:
        super().__init__()
        self.response = response


class Stage(Enum):
    """How far a request got: not known, connecting, or (perhaps in part) sent."""

    UNKNOWN = "unknown"
    DIALLING = "dialling"
    SENT = "sent"


JOURNEY = "journey"
"""The name under which a request of the library carries its journey."""


class Journey:
    """How far a request got, from the events that the library gives.

    ``signing_in``: what is under way is a sign-in that has to come first, not the request itself.
    """

    def __init__(self) -> None:
        self.signing_in = False
        self._stage = Stage.UNKNOWN

    @property
    def stage(self) -> Stage:
        """How far the request itself got."""
        return Stage.DIALLING if self.signing_in else self._stage

    async def note(self, event: str, _info: dict[str, Any]) -> None:
        """Note an event of the library."""
        if event.endswith("connect_tcp.started"):
            self._stage = Stage.DIALLING
        elif event.endswith("send_request_headers.started"):
            self._stage = Stage.SENT


BEFORE: dict[type[Exception], str] = {
    httpx.ConnectError: "no connection could be made",
    httpx.ConnectTimeout: "no connection was made in time",
    httpx.PoolTimeout: "no connection was free in time",
    httpx.ProxyError: "no connection could be made",
    httpx.UnsupportedProtocol: "its scheme is neither http nor https",
    httpx.InvalidURL: "its address and path make no URL",
}
"""Nothing was sent."""

ON_THE_WAY: dict[type[Exception], str] = {
    httpx.ReadTimeout: "it did not answer in time",
    httpx.WriteTimeout: "it did not take the request in time",
    httpx.TimeoutException: "it did not answer in time",
    TimeoutError: "it did not answer in time",
    httpx.ReadError: "the connection broke before the answer came",
    httpx.WriteError: "the connection broke while the request was sent",
    httpx.CloseError: "the connection broke",
    httpx.NetworkError: "the connection broke",
    httpx.TransportError: "the connection broke",
    OSError: "the connection broke",
}
"""The way failed, perhaps after the request was sent."""

NONSENSE: dict[type[Exception], str] = {
    httpx.RemoteProtocolError: "it closed the connection early, or does not speak HTTP",
    httpx.LocalProtocolError: "the request could not be put into HTTP",
    httpx.ProtocolError: "it does not speak HTTP as expected, or its sign-in challenge is unknown",
    httpx.DecodingError: "its answer is packed in a way that was not asked for",
    httpx.TooManyRedirects: "it points elsewhere",
    httpx.HTTPStatusError: "it answered with an error",
    httpx.RequestError: "the exchange failed",
    httpx.HTTPError: "the exchange failed",
    httpx.CookieConflict: "it sent cookies that contradict each other",
    httpx.StreamError: "its answer could not be read",
    httpx.StreamConsumed: "its answer could not be read",
    httpx.StreamClosed: "its answer could not be read",
    httpx.ResponseNotRead: "its answer could not be read",
    httpx.RequestNotRead: "the request could not be sent",
    TooLarge: "its answer is larger than is believed",
}
"""What came makes no sense, perhaps after the request was sent."""

KNOWN = (*BEFORE, *ON_THE_WAY, *NONSENSE)


def judge(
    error: Exception, stage: Stage, request: Request, party: Party, name: str = ""
) -> DeviceError:
    """The error that a failure on the way is. Its own text is never passed on.

    ``name`` is what the device's certificate has to name.
    """
    at = (party.device, party.address, request.doing)
    untrusted = certificates.judge(error, party, request.doing, name or party.address)
    if untrusted is not None:
        return untrusted
    words = in_words(error)
    if request.reads and _table(error) is NONSENSE:
        return Broken(*at, words)  # at the sign-in before it, too: somebody answers there
    if _before(error) or stage is Stage.DIALLING:
        return Unreachable(*at, words)
    if not request.reads:
        return OutcomeUnknown(*at, words)
    return Unreachable(*at, words)


def _before(error: Exception) -> bool:
    return _table(error) is BEFORE


def _table(error: Exception) -> dict[type[Exception], str]:
    for kind in type(error).__mro__:
        for table in (BEFORE, ON_THE_WAY, NONSENSE):
            if kind in table:
                return table
    return NONSENSE


def in_words(error: Exception) -> str:
    """What went wrong on the way, in our own words; the text of ``error`` is never passed on."""
    untrusted = certificates.judge(error, _NOBODY, "", "what it should")
    if untrusted is not None:
        return untrusted.said
    if isinstance(error, httpx.ConnectError) and certificates.speaks_no_tls(error):
        return "no connection could be made: it does not speak TLS there, or none that is known"
    words = next(_table(error)[kind] for kind in type(error).__mro__ if kind in _table(error))
    return f"{words}: connection refused" if _refused(error) else words


_NOBODY = Party(device="", address="")


def _refused(error: BaseException | None) -> bool:
    """Look whether a refused connection stands at the bottom of ``error``."""
    while error is not None:
        if isinstance(error, ConnectionRefusedError):
            return True
        error = error.__cause__ or error.__context__
    return False
