"""A device's certificate, looked at before it is trusted: for a person to compare and confirm."""

from collections.abc import Callable, Coroutine, Mapping
from typing import Any

from cryptography import x509

from orchestrator.adapters.http.answers import clean
from orchestrator.adapters.http.certificates import Shown, shown_by
from orchestrator.adapters.http.dial import Target, check, target_of
from orchestrator.adapters.http.messages import Party
from orchestrator.adapters.ways import Plugged, table, ways_of
from orchestrator.errors import CallError
from orchestrator.facility.description import Description
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.trust import joined

LOOK_S = 5.0
"""Seconds after which looking at a certificate is given up."""

LookAt = Callable[[Device, str], Coroutine[Any, Any, Shown]]
"""Gives the certificate that a device shows at an address."""


def make_looker(
    plan: Plan,
    descriptions: Mapping[str, Description],
    connect: Mapping[str, str],
    plugged: Plugged | None = None,
) -> LookAt:
    """Make what looks at the certificates of devices; nothing else is sent to them.

    Raises:
        CallError: ``connect`` is not written right. (The looker raises it too, for a device that
            is not spoken to over TLS.)
    """
    check(connect)
    ways = table(descriptions, plugged)

    async def look(device: Device, address: str) -> Shown:
        way = next((way for way in ways_of(device, ways) if way.scheme(device) == "https"), None)
        if way is None:
            raise CallError(
                f"{device.name} is not spoken to over TLS, so it shows no certificate",
                "write scheme: https into its device description, if it can do that",
            )
        target = target_of(connect, address) or Target(address, way.port(device))
        name = joined(device.tls, way.tls, plan.tls).name or address
        party = Party(device=device.name, address=address)
        return await shown_by(party, target, name, LOOK_S)

    return look


def lines_of(der: bytes) -> tuple[str, ...]:
    """What a certificate says of itself, one thing a line."""
    try:
        found = x509.load_der_x509_certificate(der)
        return (
            f"subject {_said(found.subject.rfc4514_string())}",
            f"issuer {_said(found.issuer.rfc4514_string())}",
            f"names {_said(', '.join(_names(found)))}",
            f"valid {_days(found)}",
        )
    except ValueError:
        return ("it can't be read; only its fingerprint is known",)


def _said(text: str) -> str:
    """What somebody else wrote, fit for one line."""
    return clean(text, str) or "(none)"


def _days(found: x509.Certificate) -> str:
    return f"from {found.not_valid_before_utc:%Y-%m-%d} to {found.not_valid_after_utc:%Y-%m-%d}"


def _names(found: x509.Certificate) -> list[str]:
    try:
        held = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return []
    named = [str(name) for name in held.get_values_for_type(x509.DNSName)]
    return named + [str(address) for address in held.get_values_for_type(x509.IPAddress)]
