"""Doors of devices whose secret no single device description changes.

A sign-in is tried by asking who the device is, as a whole, with a way of its own for each try. What
the secret is changed by differs: a plug-in does it; one way does it for a device whose other ways
sign in by the same secret; or nobody can, and a person does it at the device itself.
"""

from collections.abc import Awaitable, Callable

from orchestrator.adapters.http.messages import Party
from orchestrator.adapters.rotating import Door
from orchestrator.errors import Rejected, SignInRefused
from orchestrator.facility.secret import Secret
from orchestrator.running.protocols import DeviceAdapter

Open = Callable[[Secret | None], DeviceAdapter]
"""Opens the whole device with a secret; None: as somebody without one. Nothing is sent yet."""

Change = Callable[[Secret, Secret], Awaitable[None]]
"""Changes the secret from one to the other, once."""


class WholeDoor:
    """The door of one device, opened as a whole (a ``Door``). ``change`` None: by hand alone."""

    def __init__(self, party: Party, opened: Open, change: Change | None = None) -> None:
        self._party = party
        self._opened = opened
        self._change = change

    @property
    def by_hand(self) -> bool:
        """Whether a person has to change the secret, at the device itself."""
        return self._change is None

    def check(self, secret: Secret) -> None:
        """Whatever can be typed can be tried; a secret that can't be sent is refused then."""

    async def takes(self, secret: Secret | None) -> bool:
        """Whether the device takes ``secret`` now; None: no sign-in at all.

        Raises:
            DeviceError: it could not be asked.
        """
        adapter = self._opened(secret)
        try:
            await adapter.identify()
        except SignInRefused:
            return False
        finally:
            await adapter.close()
        return True

    async def change(self, now: Secret, new: Secret) -> None:
        """Change its secret from ``now`` to ``new``, once.

        Raises:
            Rejected: nothing here can; nothing was sent.
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: surely not done.
        """
        if self._change is None:
            said = "it takes the old one still, and nothing here can change it: set the new one at "
            said += "the device itself, then go on with the same command"
            doing = "changing its secret"
            raise Rejected(self._party.device, self._party.address, doing, said)
        await self._change(now, new)

    def inside(self, secret: Secret) -> DeviceAdapter:
        """The device, signed in to with ``secret``."""
        return self._opened(secret)

    async def close(self) -> None:
        """Nothing is left open between two tries."""


class SharedDoor:
    """The door of a device of several ways: one changes and proves the secret (a ``Door``).

    The others sign in by the same secret, or by none. That they take it too is seen with the first
    look at the device.
    """

    def __init__(self, door: Door, opened: Open) -> None:
        self._door = door
        self._opened = opened

    @property
    def by_hand(self) -> bool:
        """As the way that changes it has it."""
        return self._door.by_hand

    def check(self, secret: Secret) -> None:
        """See that a sign-in with ``secret`` could be written at all; nothing is sent.

        Raises:
            NoSecret: it can't.
        """
        self._door.check(secret)

    async def takes(self, secret: Secret | None) -> bool:
        """Whether that way takes ``secret`` now; None: no sign-in at all.

        Raises:
            DeviceError: it could not be asked.
        """
        return await self._door.takes(secret)

    async def change(self, now: Secret, new: Secret) -> None:
        """Change its secret, once.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: surely not done.
        """
        await self._door.change(now, new)

    def inside(self, secret: Secret) -> DeviceAdapter:
        """The whole device, signed in to with ``secret``."""
        return self._opened(secret)

    async def close(self) -> None:
        """Let go of that way's connections."""
        await self._door.close()
