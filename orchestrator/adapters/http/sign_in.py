"""How requests are signed: the schemes of a device description.

Basic is RFC 7617, Digest RFC 7616, Bearer RFC 6750 (in the header, never in the URL); for signing
in by a cookie see ``session``.
"""

import base64
import unicodedata
from collections.abc import Generator

import httpx

from orchestrator.adapters.declared.template import names_in
from orchestrator.adapters.http.session import SessionSignIn
from orchestrator.errors import NoSecret
from orchestrator.facility.description import SignIn, WriteRule
from orchestrator.facility.secret import Secret

_Flow = Generator[httpx.Request, httpx.Response, None]


class HeaderSignIn(httpx.Auth):
    """Puts one header on each request, whatever was answered to others."""

    def __init__(self, header: str, value: str) -> None:
        self._header = header
        self._value = value

    def sign(self, request: httpx.Request) -> None:
        """Sign ``request``."""
        request.headers[self._header] = self._value

    def auth_flow(self, request: httpx.Request) -> _Flow:
        """Sign ``request``, for a client of httpx's."""
        self.sign(request)
        yield request


class DigestSignIn(httpx.DigestAuth):
    """Answers a Digest challenge once; a second refusal ends it, so that no account is locked."""

    def auth_flow(self, request: httpx.Request) -> _Flow:
        """Sign ``request``, after a challenge where none is known yet.

        Raises:
            httpx.ProtocolError: the challenge asks for something that is not known.
        """
        try:
            yield from super().auth_flow(request)
        except (KeyError, ValueError, NotImplementedError):
            unknown = True
        else:
            unknown = False
        if unknown:
            raise httpx.ProtocolError("unknown challenge")


def sign_in(
    kind: SignIn, secret: Secret, name: str, key_header: str, session: WriteRule | None = None
) -> httpx.Auth | None:
    """Make what signs requests. ``name`` is the credential's name, for what is said of it.

    ``session`` is the request that signs in, where a cookie then does.

    Raises:
        NoSecret: the secret can't be used for this kind of sign-in.
    """
    _check(kind, secret, name, session)
    match kind:
        case SignIn.SESSION:
            return SessionSignIn(session or WriteRule(method="POST", path="/"), secret)
        case SignIn.BASIC:
            return HeaderSignIn("Authorization", _basic(secret.user, secret.reveal()))
        case SignIn.DIGEST:
            return DigestSignIn(secret.user, secret.reveal())
        case SignIn.BEARER:
            return HeaderSignIn("Authorization", f"Bearer {secret.reveal()}")
        case SignIn.API_KEY:
            return HeaderSignIn(key_header, secret.reveal())
        case SignIn.NONE:
            return None


def _basic(user: str, word: str) -> str:
    """The value of the header (RFC 7617, section 2), in UTF-8 (2.1)."""
    return "Basic " + base64.b64encode(f"{user}:{word}".encode()).decode()


def _check(kind: SignIn, secret: Secret, name: str, session: WriteRule | None) -> None:
    if kind is SignIn.SESSION and not secret.user and "user" in _asked(session):
        raise _unfit(name, f"has no user name, and the device signs in by {kind}")
    if kind in (SignIn.BASIC, SignIn.DIGEST):
        _check_pair(kind, secret, name)
    elif kind in (SignIn.BEARER, SignIn.API_KEY):
        _check_key(kind, secret, name)


def _asked(session: WriteRule | None) -> frozenset[str]:
    return frozenset() if session is None else names_in(session.body)


def _check_pair(kind: SignIn, secret: Secret, name: str) -> None:
    if not secret.user:
        raise _unfit(name, f"has no user name, and the device signs in by {kind}")
    if ":" in secret.user and kind is SignIn.BASIC:
        raise _unfit(name, "has a colon in its user name, which RFC 7617 does not allow")
    if kind is SignIn.DIGEST and any(mark in secret.user for mark in '"\\'):
        raise _unfit(name, "has a quotation mark or backslash in its user name")
    if any(unicodedata.category(c) == "Cc" for c in secret.user + secret.reveal()):
        raise _unfit(name, "holds a control character")


def _check_key(kind: SignIn, secret: Secret, name: str) -> None:
    if secret.user:
        raise _unfit(name, f"has a user name, and the device signs in by {kind}, with a key alone")
    word = secret.reveal()
    if not word or not all("!" <= c <= "~" for c in word):
        raise _unfit(name, "is empty, or holds a character that can't stand in a header")


def _unfit(name: str, what: str) -> NoSecret:
    return NoSecret(f"credential {name} {what}", f"set it with 'cutsheet credential add {name}'")
