"""Real TLS on loopback sockets: by whom a device's certificate is trusted, and what is said if not.

Verdicts come from OpenSSL; certificates from trustme and cryptography. What a certificate must
name is RFC 6125 and RFC 9525; the fingerprint is the SHA-256 of the DER form, as browsers show it.
"""

import asyncio
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest

from orchestrator.adapters.http import certificates
from orchestrator.adapters.http.certificates import (
    by_authority,
    by_fingerprint,
    by_system,
    shown_by,
)
from orchestrator.adapters.http.dial import Target
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.adapters.http.sign_in import sign_in
from orchestrator.adapters.http.transport import Transport
from orchestrator.errors import DeviceError, Unreachable, Untrusted, words
from orchestrator.facility.description import SignIn, WriteRule
from orchestrator.facility.secret import Secret
from tests.adapters.makes import PARTY
from tests.adapters.papers import Paper, authority, issued, pem_of, self_signed
from tests.adapters.servers import answering, http, serving

AT = "127.44.3.71"
NAMED = "rack-node.tern-point.example"
READ = Request(method="GET", path="/x", doing="reading")
WRITE = Request(method="PUT", path="/x", doing="disabling source mic", body={"on": False})
PLANT = authority()
OURS = pem_of(PLANT)
SECRET = Secret("engineer", "canary-word")
SESSION = WriteRule(method="POST", path="/in", body={"u": "{user}", "p": "{secret}"})


@asynccontextmanager
async def speaking_plainly() -> AsyncIterator[int]:
    """A server that knows HTTP and no TLS, and says so to whatever comes; gives its port."""

    async def complain(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1)
        writer.write(http(b"", "400 Bad Request"))
        await writer.drain()
        writer.close()

    server = await asyncio.start_server(complain, "127.0.0.1", 0)
    async with server:
        yield server.sockets[0].getsockname()[1]


def asked(
    folder: Path,
    paper: Paper,
    tls: ssl.SSLContext | None,
    request: Request = READ,
    *,
    name: str | None = None,
    kind: SignIn = SignIn.BASIC,
) -> tuple[Response | DeviceError, list[bytes]]:
    """Send one request to who shows ``paper``: what came of it, and what arrived there."""

    async def whole() -> tuple[Response | DeviceError, list[bytes]]:
        cookie = "Set-Cookie: seat=abc"
        talk = answering(http(b"{}", "200 OK", cookie))
        async with serving(talk, paper.server(folder)) as server:
            return await sent(server.port, tls, request, name, kind), server.heard

    return asyncio.run(whole())


async def sent(
    port: int, tls: ssl.SSLContext | None, request: Request, name: str | None, kind: SignIn
) -> Response | DeviceError:
    """Send one request to a port of this computer."""
    transport = Transport(
        PARTY,
        f"https://{AT}:8443",
        timeout_s=5.0,
        auth=sign_in(kind, SECRET, "units", "X-Key", SESSION),
        secret=SECRET,
        dial=Target("127.0.0.1", port),
        tls=tls,
        tls_name=name,
    )
    try:
        return await transport.send(request)
    except DeviceError as error:
        return error
    finally:
        await transport.close()


def test_the_trust_of_this_computer_is_the_usual_one() -> None:
    """Certificates and names are checked."""
    assert by_system().check_hostname
    assert by_system().verify_mode is ssl.CERT_REQUIRED


def test_a_private_authority_is_trusted_for_the_address(tmp_path: Path) -> None:
    """Over a connect map too: what is named is the device, wherever the connection goes."""
    found, heard = asked(tmp_path, issued(PLANT, AT), by_authority(OURS), WRITE)
    assert isinstance(found, Response)
    assert b"Host: 127.44.3.71:8443" in heard[0]


def test_a_private_authority_is_trusted_for_a_name(tmp_path: Path) -> None:
    """A unit whose certificate has a name keeps it when its address changes."""
    found, _ = asked(tmp_path, issued(PLANT, NAMED), by_authority(OURS), name=NAMED)
    assert isinstance(found, Response)


PAST = datetime.now(UTC) - timedelta(days=3)
WRONG: dict[str, tuple[Paper, ssl.SSLContext | None, str | None, str, str]] = {
    "nobody known": (issued(PLANT, AT), None, None, "authority that is not trusted", "authority:"),
    "another authority": (
        issued(authority(), AT),
        by_authority(OURS),
        None,
        "authority that is not trusted",
        "pinned: true",
    ),
    "it signed itself": (
        self_signed(AT, days=(-1, 1)),
        by_authority(OURS),
        None,
        "authority that is not trusted",
        "pinned",
    ),
    "another address": (
        issued(PLANT, "127.44.3.72"),
        by_authority(OURS),
        None,
        "does not name 127.44.3.71",
        "which unit that is",
    ),
    "another name": (
        issued(PLANT, "other.tern-point.example"),
        by_authority(OURS),
        NAMED,
        f"does not name {NAMED}",
        "tls: {name: ..}",
    ),
    "expired": (
        issued(PLANT, AT, until=PAST),
        by_authority(OURS),
        None,
        "has expired",
        "new certificate",
    ),
    "not valid yet": (
        self_signed(AT, days=(2, 3)),
        ssl.create_default_context(),
        None,
        "authority that is not trusted",
        "",
    ),
    "never confirmed": (
        self_signed(),
        by_fingerprint(None),
        None,
        "nobody has confirmed",
        "itself",
    ),
    "confirmed and changed": (
        self_signed(),
        by_fingerprint(issued(PLANT, AT).sha256),
        None,
        "has changed",
        "find out why",
    ),
}


@pytest.mark.parametrize("kind", [SignIn.BASIC, SignIn.SESSION])
@pytest.mark.parametrize("request_", [READ, WRITE], ids=["read", "write"])
@pytest.mark.parametrize("case", WRONG)
def test_what_is_not_trusted_is_sent_nothing(
    case: str, request_: Request, kind: SignIn, tmp_path: Path
) -> None:
    """A typed error, in words with a fix; not a byte of a request, nor of a sign-in."""
    paper, tls, name, said, fix = WRONG[case]
    found, heard = asked(tmp_path, paper, tls, request_, name=name, kind=kind)
    assert type(found) is Untrusted
    assert heard == []
    told = words(found)
    assert said in told.what
    assert fix in told.fix
    assert told.what.startswith("rack-node at 127.44.3.71 shows a certificate that is not trusted")


@pytest.mark.parametrize("kind", [SignIn.BASIC, SignIn.SESSION])
def test_a_confirmed_certificate_is_trusted_whatever_it_says(kind: SignIn, tmp_path: Path) -> None:
    """Expired, for another name, signed by itself: a person has looked at this very one."""
    paper = self_signed("somewhere-else")
    found, heard = asked(tmp_path, paper, by_fingerprint(paper.sha256), kind=kind)
    assert isinstance(found, Response)
    assert len(heard) == (1 if kind is SignIn.BASIC else 2)


def test_a_changed_certificate_is_told_with_both_fingerprints(tmp_path: Path) -> None:
    """So that a person can compare; the error holds them as data too."""
    paper, before = self_signed(), self_signed().sha256
    found, _ = asked(tmp_path, paper, by_fingerprint(before))
    assert isinstance(found, Untrusted)
    assert (found.presented, found.trusted) == (paper.sha256, before)
    told = words(found)
    shown = told.what.replace(":", "").replace(" ", "")
    assert paper.sha256.replace(":", "") in shown
    assert before.replace(":", "") in shown
    assert "'cutsheet certificate confirm rack-node'" in told.fix


def test_an_older_one_of_the_same_authority_is_not_the_confirmed_one(tmp_path: Path) -> None:
    """The fingerprint is of the certificate, not of who issued it."""
    first, second = issued(PLANT, AT), issued(PLANT, AT)
    found, _ = asked(tmp_path, second, by_fingerprint(first.sha256))
    assert isinstance(found, Untrusted)


def test_a_device_that_speaks_no_tls() -> None:
    """Its certificate is not what is wrong."""

    async def whole() -> Response | DeviceError:
        async with speaking_plainly() as port:
            return await sent(port, by_authority(OURS), READ, None, SignIn.BASIC)

    found = asyncio.run(whole())
    assert type(found) is Unreachable
    assert "does not speak TLS" in found.said


def test_a_certificate_can_be_looked_at(tmp_path: Path) -> None:
    """Without trusting it, and without sending anything to who shows it."""
    paper = self_signed()

    async def whole() -> None:
        async with serving(answering(http()), paper.server(tmp_path)) as server:
            shown = await shown_by(PARTY, Target("127.0.0.1", server.port), AT, 5.0)
            assert shown.sha256 == paper.sha256
            assert server.heard == []
        async with speaking_plainly() as plain:
            with pytest.raises(Unreachable, match="does not speak TLS"):
                await shown_by(PARTY, Target("127.0.0.1", plain), AT, 2.0)
        with pytest.raises(Unreachable, match="no connection"):
            await shown_by(PARTY, Target("127.0.0.1", plain), AT, 2.0)

    asyncio.run(whole())


def test_what_is_no_matter_of_certificates() -> None:
    """Other failures are judged elsewhere."""
    assert certificates.judge(httpx.ConnectError("x"), PARTY, "reading", AT) is None
    assert not certificates.speaks_no_tls(httpx.ConnectError("x"))
