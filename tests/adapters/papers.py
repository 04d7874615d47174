"""Authorities and certificates for tests, made by trustme, and servers that show them."""

import ssl
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import trustme
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID


@dataclass
class Paper:
    """A certificate with its key, in PEM."""

    pem: bytes
    key: bytes
    sha256: str = field(init=False)

    def __post_init__(self) -> None:
        digest = x509.load_pem_x509_certificate(self.pem).fingerprint(hashes.SHA256())
        self.sha256 = digest.hex(":").upper()

    def server(self, folder: Path) -> ssl.SSLContext:
        """What serves with it."""
        path = folder / f"{self.sha256[:8].replace(':', '')}.pem"
        path.write_bytes(self.key + self.pem)
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(path)
        return context


def authority() -> trustme.CA:
    """A private authority."""
    return trustme.CA(organization_name="Tern Point invented plant")


def pem_of(held: trustme.CA) -> str:
    """Its own certificate, as a plant would keep it in a file."""
    return held.cert_pem.bytes().decode()


def issued(by: trustme.CA, *names: str, until: datetime | None = None) -> Paper:
    """A certificate for names or addresses."""
    made = by.issue_cert(*names, not_after=until)
    return Paper(
        b"".join(blob.bytes() for blob in made.cert_chain_pems), made.private_key_pem.bytes()
    )


def self_signed(name: str = "unit", *, days: tuple[int, int] = (-2, -1)) -> Paper:
    """One that a unit made for itself; expired, unless ``days`` from now say otherwise."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder(subject, subject, key.public_key(), x509.random_serial_number())
        .not_valid_before(now + timedelta(days=days[0]))
        .not_valid_after(now + timedelta(days=days[1]))
        .sign(key, hashes.SHA256())
    )
    return Paper(
        made.public_bytes(serialization.Encoding.PEM),
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        ),
    )
