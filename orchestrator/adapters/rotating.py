"""A device whose secret is being changed: known by whichever of two secrets it takes.

To the run, the change is a setting, :data:`SETTING`, whose value is :data:`OLD` or :data:`NEW`. It
is read by signing in and written by the request that the device description gives; no secret
stands in a step, an event or a report.

Which secret a device takes is found by trying, and accounts lock. So:

1. What it took last is tried first; after a write, what it should take now.
2. The other one is tried only where the first is refused.
3. A secret that was refused is not tried again until the device has taken one, or a change was
   sent to it. So at most two tries fail in a row, one of each secret.
4. A sign-in is tried at a path that refuses whoever has none; a path that is open proves nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

from orchestrator.errors import Broken, OutcomeUnknown, Rejected, SignInRefused
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import Step, StepKind
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import EVERYTHING, DeviceAdapter, Part

SETTING = "sign-in secret"
"""The name of the setting; no device description can have one of that name."""

OLD, NEW = "old", "new"

_DOING = "finding out which secret it takes"


class Door(Protocol):
    """How a device is signed in to, and how its secret is changed."""

    @property
    def by_hand(self) -> bool:
        """Whether a person has to change the secret, at the device itself."""
        ...

    def check(self, secret: Secret) -> None:
        """See that a sign-in with ``secret`` could be written at all; nothing is sent.

        Raises:
            NoSecret: it can't.
        """
        ...

    async def takes(self, secret: Secret | None) -> bool:
        """Whether it takes ``secret`` now, by a sign-in of its own; None: no sign-in at all.

        Raises:
            DeviceError: it could not be asked.
        """
        ...

    async def change(self, now: Secret, new: Secret) -> None:
        """Change its secret, once.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: surely not done.
        """
        ...

    def inside(self, secret: Secret) -> DeviceAdapter:
        """The device, signed in to with ``secret``."""
        ...

    async def close(self) -> None:
        """Let go of its connections."""
        ...


@dataclass
class Tried:
    """What is known of one device's sign-ins: which to try first, and which were refused."""

    first: str = OLD
    refused: set[str] = field(default_factory=set)

    def order(self) -> tuple[str, ...]:
        """The secrets that may be tried now."""
        other = NEW if self.first == OLD else OLD
        return tuple(one for one in (self.first, other) if one not in self.refused)

    def sent(self, which: str) -> None:
        """A change to this one was sent: it should take it now."""
        self.first = which
        self.refused.clear()

    def taken(self, which: str) -> None:
        """The device took one: it is the one to try first, and nothing is held against it."""
        self.first = which
        self.refused.clear()


class Rotating:
    """One device at one address, spoken to by whichever secret it takes (a ``DeviceAdapter``)."""

    def __init__(
        self,
        door: Door,
        secrets: Mapping[str, Secret],
        tried: Tried,
        traits: Traits,
        *,
        device: str,
        address: str,
    ) -> None:
        self._door = door
        self._secrets = secrets
        self._tried = tried
        self._traits = traits
        self._at = (device, address)
        self._open: dict[str, DeviceAdapter] = {}

    @property
    def traits(self) -> Traits:
        """What it can do."""
        return self._traits

    @property
    def by_hand(self) -> bool:
        """Whether a person has to change its secret, at the device itself."""
        return self._door.by_hand

    async def which(self) -> str:
        """Which secret it takes.

        Raises:
            SignInRefused: neither, or both were refused before.
            DeviceError: it could not be asked.
        """
        for one in self._tried.order():
            if one not in self._secrets:
                continue
            if await self._door.takes(self._secrets[one]):
                self._tried.taken(one)
                return one
            self._tried.refused.add(one)
        said = "it takes neither the old secret nor the new one; none is tried again now"
        raise SignInRefused(*self._at, _DOING, said if NEW in self._secrets else "")

    async def open_to_all(self) -> bool:
        """Whether it tells whoever asks, so that no sign-in is proved by what it tells."""
        return await self._door.takes(None)

    async def identify(self) -> Identity:
        """Ask who it is.

        Raises:
            DeviceError: it could not be asked. (``read`` raises it so, too.)
        """
        return await self._inside(await self.which()).identify()

    async def read(self, parts: frozenset[Part] = EVERYTHING) -> DeviceState:
        """Read its identity and the given parts, and as a setting which secret it takes."""
        one = await self.which()
        state = await self._inside(one).read(parts)
        if Part.SETTINGS not in parts:
            return state
        return replace(state, settings={**state.settings, SETTING: one})

    async def write(self, step: Step, *more: Step) -> None:
        """Change its secret, or write any other step by the one that it takes.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: surely not done.
        """
        if step.kind is not StepKind.SET or step.setting != SETTING:
            await self._inside(await self.which()).write(step, *more)
            return
        now, new = str(step.as_found), str(step.wanted)
        if not {now, new} <= self._secrets.keys():
            raise Rejected(*self._at, f"setting its {SETTING}", "that secret is not known here")
        try:
            await self._door.change(self._secrets[now], self._secrets[new])
        except (OutcomeUnknown, Broken):
            self._tried.sent(new)
            raise
        self._tried.sent(new)

    async def close(self) -> None:
        """Let go of its connections."""
        for adapter in self._open.values():
            await adapter.close()
        self._open.clear()
        await self._door.close()

    def _inside(self, which: str) -> DeviceAdapter:
        if which not in self._open:
            self._open[which] = self._door.inside(self._secrets[which])
        return self._open[which]
