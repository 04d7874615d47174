"""Certificates: what they are trusted by, what is wrong with one, and one as a device shows it.

Three ways: the trust of this computer, the file of a private authority (and then no other), or the
fingerprint of one certificate that a person has confirmed (SHA-256 of its DER form). The
fingerprint is compared inside the handshake, so that nothing is ever sent to whoever shows
another.
"""

import asyncio
import hashlib
import ssl
from dataclasses import dataclass
from functools import cache

from orchestrator.adapters.http.dial import Target
from orchestrator.adapters.http.messages import Party
from orchestrator.errors import Unreachable, Untrusted
from orchestrator.facility.trust import fingerprint

# Verdicts of OpenSSL: X509_V_ERR_... in its manual x509_verify_cert_error_string.
_NOT_YET, _EXPIRED = 9, 10
_NO_AUTHORITY = frozenset({2, 18, 19, 20, 21})
_OTHER_NAME = frozenset({62, 64})

_FIX_NAME = (
    "find out which unit that is; if it is the one meant, give it a certificate with that name, "
    "or write the name that it has under tls: {name: ..}"
)
_FIX_AUTHORITY = (
    "name the file of the authority under tls: {authority: ..}, or have a person confirm the "
    "certificate: tls: {pinned: true}"
)


class Unpinned(ssl.SSLError):
    """A certificate is not the one confirmed. Stays inside this package."""

    def __init__(self, presented: str, trusted: str | None) -> None:
        super().__init__("not the certificate that was confirmed")
        self.presented = presented
        self.trusted = trusted


@cache
def by_system() -> ssl.SSLContext:
    """TLS as this computer trusts it: certificates and names are verified. Made once."""
    return ssl.create_default_context()


@cache
def by_authority(pem: str) -> ssl.SSLContext:
    """TLS that trusts the authorities in ``pem`` and nobody else; names are verified.

    Raises:
        ssl.SSLError: there is no certificate in it.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.load_verify_locations(cadata=pem)
    return context


@cache
def by_fingerprint(trusted: str | None) -> ssl.SSLContext:
    """TLS that trusts the one certificate with this fingerprint; None: none at all.

    Name and validity are not looked at: a person has looked at the certificate itself.
    """

    class Pinned(ssl.SSLObject):
        def do_handshake(self) -> None:
            super().do_handshake()
            presented = _fingerprint(self.getpeercert(binary_form=True) or b"")
            if presented != trusted:
                raise Unpinned(presented, trusted)

    context = _unverified()
    context.sslobject_class = Pinned
    return context


def _unverified() -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    return context


def _fingerprint(der: bytes) -> str:
    return fingerprint(hashlib.sha256(der).digest())


def judge(error: BaseException, party: Party, doing: str, name: str) -> Untrusted | None:
    """The error that a failed handshake is; None if no certificate was refused.

    ``name`` is what the certificate had to name.
    """
    at = (party.device, party.address, doing)
    for cause in _causes(error):
        if isinstance(cause, Unpinned):
            return _unpinned(at, cause)
        if isinstance(cause, ssl.SSLCertVerificationError):
            said, fix = _verdict(getattr(cause, "verify_code", 0), name)
            return Untrusted(*at, said, fix=fix)
    return None


def _unpinned(at: tuple[str, str, str], cause: Unpinned) -> Untrusted:
    device, shown = at[0], cause.presented
    if cause.trusted is None:
        said = "nobody has confirmed its certificate yet"
        fix = "compare that with what the unit itself shows, then "
    else:
        said = "its certificate has changed"
        fix = "find out why before anything else; if the change is meant, "
    fix += f"'cutsheet certificate confirm {device}'"
    return Untrusted(*at, said, presented=shown, trusted=cause.trusted or "", fix=fix)


def _verdict(code: int, name: str) -> tuple[str, str]:
    if code in _OTHER_NAME:
        return f"its certificate does not name {name}", _FIX_NAME
    if code == _EXPIRED:
        return (
            "its certificate has expired",
            "give the unit a new certificate; look at this computer's date, too",
        )
    if code == _NOT_YET:
        return "its certificate is not valid yet", "look at the date here, and at the certificate"
    if code in _NO_AUTHORITY:
        return "its certificate is from an authority that is not trusted here", _FIX_AUTHORITY
    return f"its certificate could not be verified (OpenSSL's verdict {code})", "look at it"


def _causes(error: BaseException | None) -> list[BaseException]:
    found: list[BaseException] = []
    while error is not None and error not in found:
        found.append(error)
        error = error.__cause__ or error.__context__
    return found


def speaks_no_tls(error: BaseException) -> bool:
    """Whether the handshake failed for another reason than a certificate."""
    return any(
        isinstance(cause, ssl.SSLError) and not isinstance(cause, ssl.SSLCertVerificationError)
        for cause in _causes(error)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A certificate as a device shows it: its fingerprint, and the certificate in DER."""

    sha256: str
    der: bytes


async def shown_by(party: Party, target: Target, name: str, timeout_s: float) -> Shown:
    """The certificate that whoever answers at ``target`` shows; nothing is sent beyond that.

    ``name`` is asked for (SNI, RFC 6066, section 3).

    Raises:
        Unreachable: nobody answers there, or not in TLS.
    """
    try:
        async with asyncio.timeout(timeout_s):
            _, writer = await asyncio.open_connection(
                target.host, target.port, ssl=_unverified(), server_hostname=name
            )
            der = writer.get_extra_info("ssl_object").getpeercert(binary_form=True)
            writer.transport.abort()
    except (OSError, TimeoutError) as error:
        words = "it does not speak TLS" if isinstance(error, ssl.SSLError) else "no connection"
    else:
        return Shown(sha256=_fingerprint(der), der=der)
    raise Unreachable(party.device, party.address, "looking at its certificate", words)
