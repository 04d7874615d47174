"""What a device's certificate is judged by, where it is spoken to over TLS."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Tls:
    """What a plan or a device description says of TLS; what it leaves open is None.

    ``authority`` is the file (PEM) of a private authority, from the facility's folder; devices
    are then trusted by it and by no other. ``pinned``: the one certificate is trusted whose
    fingerprint a person has confirmed, whatever it says of itself. With neither, or ``pinned``
    False, this computer's own trust decides. ``name`` is what the certificate has to name, where
    that is not the address at which the device is spoken to.
    """

    authority: str | None = None
    pinned: bool | None = None
    name: str | None = None

    @property
    def says_whom(self) -> bool:
        """Whether it says by whom or what the certificate is trusted."""
        return self.authority is not None or self.pinned is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """A certificate that a person has confirmed.

    ``sha256`` is the fingerprint of its DER form, as :func:`fingerprint` writes it. ``serial`` is
    the device's serial in the plan at that time, ``confirmed_at`` an ISO 8601 time.
    """

    sha256: str
    confirmed_by: str
    confirmed_at: str
    serial: str | None = None


def joined(*blocks: Tls | None) -> Tls:
    """What ``blocks`` say together, the first that says something of a thing before the others."""
    given = [block for block in blocks if block is not None]
    whom = next((block for block in given if block.says_whom), Tls())
    name = next((block.name for block in given if block.name is not None), None)
    return Tls(authority=whom.authority, pinned=whom.pinned, name=name)


def fingerprint(digest: bytes | str) -> str:
    """A SHA-256 as people compare it: 32 pairs of hexadecimal figures, colons between.

    Raises:
        ValueError: it is no SHA-256.
    """
    plain = digest.hex() if isinstance(digest, bytes) else digest.replace(":", "").replace(" ", "")
    if len(plain) != 64 or not all(c in "0123456789abcdefABCDEF" for c in plain):  # noqa: PLR2004 - 256 bits
        raise ValueError("a SHA-256 has 64 hexadecimal figures")
    pairs = [plain[place : place + 2] for place in range(0, len(plain), 2)]
    return ":".join(pairs).upper()
