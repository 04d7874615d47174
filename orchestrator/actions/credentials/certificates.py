"""Confirming a device's certificate by a person's word, on first use and when it has changed."""

from dataclasses import dataclass

from orchestrator.actions.credentials.sign_in_test import where
from orchestrator.actions.desk import Desk
from orchestrator.adapters.http.looking import lines_of
from orchestrator.adapters.open import planned_device
from orchestrator.documents.trust import PINS_FILE, write_pins
from orchestrator.errors import CallError
from orchestrator.facility.trust import Pin


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A certificate as a device showed it, and what was confirmed of that device before.

    ``says`` is what it says of itself, one thing a line; ``serial`` is the plan's.
    """

    device: str
    at: str
    sha256: str
    says: tuple[str, ...]
    serial: str | None
    before: Pin | None

    @property
    def known(self) -> bool:
        """Whether it is the one that was confirmed."""
        return self.before is not None and self.before.sha256 == self.sha256


async def look(desk: Desk, device: str) -> Seen:
    """Look at the certificate that a device shows; nothing is sent to it, no sign-in either.

    Raises:
        CallError: the plan has no such device, or it is not spoken to over TLS.
        Unreachable: nobody answers, or not in TLS.
    """
    planned, at = planned_device(desk.plan, device), where(desk, device)
    shown = await desk.look(planned, at)
    return Seen(
        device=device,
        at=at,
        sha256=shown.sha256,
        says=lines_of(shown.der),
        serial=planned.serial,
        before=desk.documents.pins.get(device),
    )


def confirm(desk: Desk, seen: Seen, by: str) -> None:
    """Keep the certificate that was seen as the one that ``by`` has confirmed.

    Raises:
        CallError: the file can't be written.
    """
    pin = Pin(
        sha256=seen.sha256,
        confirmed_by=by,
        confirmed_at=desk.clock.now().isoformat(timespec="seconds"),
        serial=seen.serial,
    )
    write_pins(desk.folder, {**desk.documents.pins, seen.device: pin})


def forget(desk: Desk, device: str) -> None:
    """Take back what was confirmed of a device.

    Raises:
        CallError: nothing was, or the file can't be written.
    """
    if device not in desk.documents.pins:
        raise CallError(
            f"no certificate of {device} has been confirmed", f"{PINS_FILE} holds those that are"
        )
    write_pins(
        desk.folder, {name: pin for name, pin in desk.documents.pins.items() if name != device}
    )
