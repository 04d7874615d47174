"""A device that speaks several ways at once: one for its streams, say, and one for its addresses.

Each part of its state is read and written by one way (see :mod:`orchestrator.adapters.shares`).
Every way is asked who it is, with every read: all must say one serial. A way beside another may
have no serial to tell; at least one has to.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from orchestrator.adapters.http.messages import Party
from orchestrator.adapters.nmos.device import GivesConfiguration, TellsOfSources
from orchestrator.adapters.nmos.stage import Told
from orchestrator.adapters.shares import part_of, saving, shares, traits_of_several
from orchestrator.adapters.way import Way
from orchestrator.errors import Broken, DeviceError, Rejected, WrongDevice
from orchestrator.facility.configuration import PutBack
from orchestrator.facility.description import Json
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import Step, StepKind
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import EVERYTHING, DeviceAdapter, Part

_ASKING = "asking who it is"


@dataclass(frozen=True, slots=True)
class Opened:
    """One of the ways, opened."""

    way: Way
    adapter: DeviceAdapter


class Mixed:
    """One device at one address, spoken to in several ways (a ``DeviceAdapter``)."""

    def __init__(self, party: Party, opened: Sequence[Opened]) -> None:
        self._party = party
        self._opened = tuple(opened)
        ways = [each.way for each in self._opened]
        self._share = shares(ways)
        self._saving = saving(ways)
        self._traits = traits_of_several(ways)

    @property
    def traits(self) -> Traits:
        """What it can do by all its ways together."""
        return self._traits

    @property
    def response_s(self) -> float:
        """The median of its ways' times to answer, in seconds."""
        return median(getattr(each.adapter, "response_s", 0.0) for each in self._opened)

    async def identify(self) -> Identity:
        """Ask each way who it is.

        Raises:
            WrongDevice: the ways tell of two devices, or one of a model that it is not for.
            Broken: none of them tells a serial.
            DeviceError: one of them could not be asked. (``read`` raises all of these, too.)
        """
        return self._agreed([(each.way, await each.adapter.identify()) for each in self._opened])

    async def read(self, parts: frozenset[Part] = EVERYTHING) -> DeviceState:
        """Read its identity by each way, and each of the given parts by the way that has it."""
        told: list[tuple[Way, Identity]] = []
        whole: DeviceState | None = None
        unsaved: list[bool | None] = []
        for each in self._opened:
            own = frozenset(part for part in parts if self._reads(each.way, part))
            if own:
                state = await each.adapter.read(own)
            else:
                state = DeviceState(identity=await each.adapter.identify(), interfaces={})
            told.append((each.way, state.identity))
            unsaved.append(state.unsaved)
            whole = state if whole is None else _laid_over(whole, state)
        identity = self._agreed(told)
        assert whole is not None, "there is at least one way"
        return replace(whole, identity=identity, unsaved=_any(unsaved))

    async def write(self, step: Step, *more: Step) -> None:
        """Send one step's write, by the way that has its part. A save is sent to each that saves.

        ``more``: steps whose part the same way has, in the same request.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: surely not done.
        """
        if step.kind is StepKind.SAVE:
            meant = [each for each in self._opened if each.way in self._saving]
        else:
            owner = self._share.get(part_of(step.kind, of_source=step.source is not None))
            meant = [each for each in self._opened if each.way is owner]
        if not meant:
            why = self._traits.cannot.get(step.kind, "none of the ways it speaks can do that")
            raise Rejected(self._party.device, self._party.address, str(step.kind), why)
        for each in meant:
            await each.adapter.write(step, *more)

    async def told(self, source: str) -> Told | None:
        """How a source is described, by the first way that can say so.

        Raises:
            DeviceError: a way could not be asked.
        """
        for each in self._opened:
            if isinstance(each.adapter, TellsOfSources):
                return await each.adapter.told(source)
        return None

    async def configuration(self) -> dict[str, Json]:
        """Its whole configuration, by the first way that gives one; empty: none does.

        Raises:
            DeviceError: a way could not be asked.
        """
        for each in self._opened:
            if isinstance(each.adapter, GivesConfiguration):
                return await each.adapter.configuration()
        return {}

    async def put_back(self, parts: Mapping[str, Json], *, only_try: bool) -> tuple[PutBack, ...]:
        """Put a configuration back by that way, or ask what would become of it.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: it is refused, or could not be sent.
        """
        for each in self._opened:
            if isinstance(each.adapter, GivesConfiguration):
                return await each.adapter.put_back(parts, only_try=only_try)
        why = "none of the ways it speaks takes a configuration"
        raise Rejected(self._party.device, self._party.address, "putting it back", why)

    async def close(self) -> None:
        """Let go of its connections."""
        for each in self._opened:
            await each.adapter.close()

    def _reads(self, way: Way, part: Part) -> bool:
        if part is Part.UNSAVED:
            return Part.UNSAVED in way.reads
        return self._share.get(part) is way

    def _agreed(self, told: Sequence[tuple[Way, Identity]]) -> Identity:
        """The one identity that all the ways tell.

        It is that of the first way that is made for certain models, or else of the first that
        tells a serial; with firmware that a way was not tried with, where there is some.
        """
        known = [(way, identity) for way, identity in told if identity.serial]
        if not known:
            said = "none of the ways in which it is spoken to tells a serial"
            raise Broken(self._party.device, self._party.address, _ASKING, said)
        first_way, first = known[0]
        for way, identity in known:
            if identity.serial != first.serial:
                raise self._wrong(f"{first} (by {first_way.name})", f"{identity} (by {way.name})")
            models = way.traits.models
            if models and identity.model not in models:
                raise self._wrong(" or ".join(models), str(identity))
        lead = next((who for way, who in known if _choosy(way.traits)), first)
        untried = (who.firmware for way, who in known if not way.traits.tried(who.firmware))
        return replace(lead, firmware=next(untried, lead.firmware))

    def _wrong(self, expected: str, found: str) -> DeviceError:
        return WrongDevice(
            device=self._party.device,
            address=self._party.address,
            doing=_ASKING,
            expected=expected,
            found=found,
        )


def _choosy(traits: Traits) -> bool:
    return bool(traits.models or traits.tried_with)


def _laid_over(one: DeviceState, other: DeviceState) -> DeviceState:
    """Two states of one device whose parts don't overlap."""
    return replace(
        one,
        interfaces={**one.interfaces, **other.interfaces},
        sources={**one.sources, **other.sources},
        destinations={**one.destinations, **other.destinations},
        settings={**one.settings, **other.settings},
    )


def _any(unsaved: Sequence[bool | None]) -> bool | None:
    known = [value for value in unsaved if value is not None]
    return any(known) if known else None
