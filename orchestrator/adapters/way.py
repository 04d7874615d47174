"""A way in which a device can be spoken to, and what it is given to open one.

A way is one small value: its name, what it can do and read, and a function that opens it. The table
of all ways is in :mod:`orchestrator.adapters.ways`; nothing outside it asks which way is which.
"""

from asyncio import Semaphore
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from ssl import SSLContext
from typing import Any, Protocol

import httpx

from orchestrator.adapters.dialect import Dialect
from orchestrator.adapters.http.dial import Target
from orchestrator.adapters.http.messages import Party
from orchestrator.adapters.http.rest_device import RestDevice
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.http.transport import Transport
from orchestrator.adapters.rotating import Door
from orchestrator.adapters.trust import Judging, by_system_alone
from orchestrator.errors import NoSecret
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.secret import Secret
from orchestrator.facility.traits import Traits
from orchestrator.facility.trust import Tls
from orchestrator.running.protocols import EVERYTHING, DeviceAdapter, OpenAdapter, Part


class MakeTransport(Protocol):
    """Makes the way over HTTP to the device at the address that is being opened."""

    def __call__(
        self,
        base: str,
        *,
        timeout_s: float,
        auth: httpx.Auth | None = None,
        secret: Secret | None = None,
        tls: SSLContext | None = None,
        tls_name: str | None = None,
        also_secret: Iterable[Secret] = (),
    ) -> Transport:
        """The way to ``base``: scheme, address and port as a URL."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """One device that is to be opened at one address: all that a way is given for it.

    ``device`` is the device as the plan has it, ``party`` its name and the address to speak to,
    which need not be the planned one. ``secrets`` gives the secret of a credential's name.
    ``open_other`` opens another device of the plan, or this one once more, at an address.
    ``gate`` gives the semaphore that bounds how many requests the device gets at once.
    ``judging`` gives what certificates are judged by, from what a device description says of it.
    ``beside``: another way of the same device is open too, and can tell who it is. ``hide`` are
    secrets that no text may show, beside the one that it signs in with. ``dial`` is where
    connections go instead of the address, behind a tunnel.
    """

    plan: Plan
    device: Device
    party: Party
    make_transport: MakeTransport
    secrets: Callable[[str], Secret]
    gate: Callable[[], Semaphore]
    open_other: OpenAdapter
    judging: Callable[[Tls | None], Judging] = by_system_alone
    patience: Patience | None = None
    beside: bool = False
    hide: tuple[Secret, ...] = ()
    dial: Target | None = None

    def transport(
        self, scheme: str, port: int, *, tls: Tls | None = None, **more: Any
    ) -> Transport:
        """The way over HTTP to a port of the device; ``more`` as ``MakeTransport`` has it.

        ``tls`` is what a device description says of certificates.
        """
        base = f"{scheme}://{self.party.address}:{port}"
        judging = self.judging(tls)
        return self.make_transport(base, **judging, also_secret=self.hide, **more)

    def secret(self, sign_in: str) -> Secret:
        """The secret of the credential that the plan names for the device.

        ``sign_in`` says how it signs in, for what is said where there is none.

        Raises:
            NoSecret: the plan names no credential, or it has no secret.
        """
        if self.device.credentials is None:
            raise NoSecret(
                f"{self.device.name} wants a sign-in ({sign_in}), and the plan names no "
                "credentials for it",
                f"give {self.device.name} a 'credentials:' in plan.yaml, and set the secret with "
                "'cutsheet credential add'",
            )
        return self.secrets(self.device.credentials)

    def join(self, dialect: Dialect, transport: Transport) -> RestDevice:
        """Join a dialect over HTTP with the way to the device, its gate and our patience."""
        return RestDevice(dialect, transport, patience=self.patience, gate=self.gate)


OpenWay = Callable[[Opening], DeviceAdapter]
"""Opens a way; nothing is sent yet."""

OpenDoor = Callable[[Opening, tuple[Secret, ...]], Door]
"""Opens the door of a device, given the secrets that no text may show; nothing is sent yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way to speak to a device; ``name`` is what ``speaks:`` in the plan calls it.

    ``traits`` are known before anything is said to the device. ``reads`` are the parts of a
    device's state that it can tell. ``port`` gives the port at which a device is spoken to, to
    look whether anybody is there. ``open`` gives the adapter; nothing is sent yet. It may raise
    ``CallError`` where the documents don't fit, with the fix. ``scheme`` gives ``https`` or
    ``http`` where one of them is spoken, ``signs_in`` whether requests carry a sign-in; ``tls`` is
    what a device description says of certificates. ``door`` opens the door of a device whose
    secret can be changed; None: it can't.
    """

    name: str
    traits: Traits
    port: Callable[[Device], int]
    open: OpenWay
    reads: frozenset[Part] = EVERYTHING
    scheme: Callable[[Device], str] = lambda _: ""
    signs_in: Callable[[Device], bool] = lambda _: False
    tls: Tls | None = None
    door: OpenDoor | None = None
