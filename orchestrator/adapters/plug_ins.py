"""Ways that other packages bring: entry points of the group ``cutsheet.adapters``.

The entry point's name is what ``speaks:`` in a plan calls it; the object that it leads to is a
:class:`PlugIn`. Only what a plan names is loaded, so that a broken package harms nobody who does
not use it. Whatever goes wrong inside is told by the package's name, in words, and never as a
traceback.
"""

import contextlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial
from importlib.metadata import EntryPoint, entry_points
from typing import Protocol, TypeVar, runtime_checkable

from orchestrator.adapters.doors import WholeDoor
from orchestrator.adapters.http import scrub
from orchestrator.adapters.http.answers import clean
from orchestrator.adapters.http.conversation import cleaned
from orchestrator.adapters.http.redact import Redactor
from orchestrator.adapters.rotating import Door
from orchestrator.adapters.way import Opening, Way
from orchestrator.errors import (
    Broken,
    CutsheetError,
    DeviceError,
    OutcomeUnknown,
    PlugInBroken,
)
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import Step
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import EVERYTHING, DeviceAdapter, Part

GROUP = "cutsheet.adapters"
_HIGHEST_PORT = 65535


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a plug-in is to speak to which device.

    ``device`` is the device as the plan has it. ``address`` is where it is said to be, and belongs
    into errors; connections go to ``host`` and ``port``, which differ from it behind a tunnel.
    ``secret`` is what signs in; None where the plan names no credentials.
    """

    plan: Plan
    device: Device
    address: str
    host: str
    port: int
    secret: Secret | None


@runtime_checkable
class PlugIn(Protocol):
    """What an entry point of the group leads to.

    ``traits`` say what such devices can do, ``reads`` which parts of a state they tell,
    ``signs_in`` whether the plan has to name credentials.
    """

    traits: Traits
    reads: frozenset[Part]
    signs_in: bool

    def port(self, device: Device) -> int:
        """The TCP port at which a device is spoken to."""
        ...

    def open(self, place: Place) -> DeviceAdapter:
        """The adapter of a device at a place; nothing is sent yet."""
        ...


@runtime_checkable
class ChangesSecrets(Protocol):
    """A plug-in that can change the secret of a device, too. It may not interrupt anything."""

    async def change_secret(self, place: Place, new: Secret) -> None:
        """Change the secret that signs in at ``place``, which has the present one, once.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: surely not done.
        """
        ...


T = TypeVar("T")
Points = Callable[[], Iterable[EntryPoint]]
"""Gives the entry points of the group."""


def installed() -> Iterable[EntryPoint]:
    """The entry points of the group that are installed beside this package."""
    return entry_points(group=GROUP)


def names(points: Points = installed) -> frozenset[str]:
    """What plug-ins offer, by name; nothing is loaded."""
    return frozenset(point.name for point in points())


def plugged(wanted: Iterable[str], points: Points = installed) -> dict[str, Way]:
    """The ways of those ``wanted`` names that a plug-in offers.

    Raises:
        PlugInBroken: one can't be loaded, is no plug-in, or two packages offer one name.
    """
    found: dict[str, Way] = {}
    for name in sorted(set(wanted)):
        offering = [point for point in points() if point.name == name]
        if len(offering) > 1:
            packages = " and ".join(sorted(map(_package, offering)))
            raise PlugInBroken(f"'{name}' is offered by {packages}", "uninstall one of them")
        if offering:
            found[name] = _way(offering[0])
    return found


def _package(point: EntryPoint) -> str:
    """The package of an entry point, with its version."""
    return f"{point.dist.name} {point.dist.version}" if point.dist is not None else point.value


def _way(point: EntryPoint) -> Way:
    package = _package(point)
    made = _guarded(package, f"loading {point.value}", point.load)
    if isinstance(made, type) or not isinstance(made, PlugIn):
        raise _broken(package, f"{point.value} is no plug-in: see DEVELOPERS.md")
    traits: object = made.traits
    if not isinstance(traits, Traits):
        raise _broken(package, f"the traits of {point.value} are none")
    reads = frozenset(part for part in Part if part in made.reads)
    return Way(
        name=point.name,
        traits=made.traits,
        port=lambda device: _port(package, made, device),
        open=lambda to: _opened(package, made, to),
        reads=reads,
        signs_in=lambda _: bool(made.signs_in),
        door=partial(_door, package, made) if isinstance(made, ChangesSecrets) else None,
    )


def _door(package: str, made: PlugIn, to: Opening, hide: tuple[Secret, ...]) -> Door:
    """The door of a device whose secret a plug-in changes."""

    def opened(secret: Secret | None) -> DeviceAdapter:
        held = secret or Secret("", "")
        return _opened(package, made, replace(to, secrets=lambda _: held, hide=hide))

    async def change(now: Secret, new: Secret) -> None:
        assert isinstance(made, ChangesSecrets), "else there is no such door"
        place = _place(package, made, replace(to, secrets=lambda _: now))
        redact = Redactor(new)
        try:
            await made.change_secret(place, new)
        except Exception as error:  # noqa: BLE001 - a plug-in may raise anything
            guard = Guarded(opened(now), package, place)
            failure = guard.told(error, "changing its secret", OutcomeUnknown)
            if isinstance(failure, DeviceError):
                failure = cleaned(failure, redact)
        else:
            return
        raise failure

    return WholeDoor(to.party, opened, change)


def _port(package: str, made: PlugIn, device: Device) -> int:
    asked: Callable[[], object] = lambda: made.port(device)  # noqa: E731 - it may give anything
    port = _guarded(package, f"naming the port of {device.name}", asked)
    if not isinstance(port, int) or not 0 < port <= _HIGHEST_PORT:
        raise _broken(package, f"it names no port for {device.name}")
    return port


def _opened(package: str, made: PlugIn, to: Opening) -> DeviceAdapter:
    place = _place(package, made, to)
    adapter = _guarded(package, f"opening {to.device.name}", lambda: made.open(place))
    return Guarded(adapter, package, place, to.hide)


def _place(package: str, made: PlugIn, to: Opening) -> Place:
    secret = to.secret("by a plug-in") if made.signs_in else None
    port = _port(package, made, to.device)
    dial = to.dial
    return Place(
        plan=to.plan,
        device=to.device,
        address=to.party.address,
        host=to.party.address if dial is None else dial.host,
        port=port if dial is None else dial.port,
        secret=secret,
    )


def _guarded(package: str, doing: str, call: Callable[[], T]) -> T:
    """Do something in a plug-in. Whatever it raises is told by its kind alone: no secret in it."""
    try:
        return call()
    except CutsheetError:
        raise
    except (Exception, SystemExit) as error:  # noqa: BLE001 - a plug-in may raise anything
        failure = _broken(package, f"{doing} failed ({type(error).__name__})")
    raise failure


def _broken(package: str, what: str) -> PlugInBroken:
    return PlugInBroken(
        f"the plug-in {package} is broken: {what}",
        f"update or uninstall {package.partition(' ')[0]}, and tell whoever makes it",
    )


class Guarded:
    """An adapter of a plug-in, of which nothing but our own errors comes (a ``DeviceAdapter``).

    What the device says of itself has to be of our types; whatever else is raised is told with the
    package's name; no error shows the secret.
    """

    def __init__(
        self, adapter: DeviceAdapter, package: str, place: Place, hide: Iterable[Secret] = ()
    ) -> None:
        self._adapter = adapter
        self._package = package
        self._place = place
        self._redact = Redactor(place.secret)
        for other in hide:
            self._redact.learn_secret(other)

    @property
    def traits(self) -> Traits:
        """What it can do."""
        return self._adapter.traits

    async def identify(self) -> Identity:
        """Ask who it is.

        Raises:
            DeviceError: it could not be asked. (``read`` raises it so, too.)
        """
        try:
            found: object = await self._adapter.identify()
        except Exception as error:  # noqa: BLE001 - a plug-in may raise anything
            failure = self.told(error, "asking who it is")
        else:
            if isinstance(found, Identity):
                return scrub.identity(found, self._redact.of_what_is_held)
            failure = self._failed(Broken, "asking who it is", "gave no identity")
        raise failure

    async def read(self, parts: frozenset[Part] = EVERYTHING) -> DeviceState:
        """Read its identity and the given parts; parts not asked for stand empty."""
        try:
            found: object = await self._adapter.read(parts)
        except Exception as error:  # noqa: BLE001 - a plug-in may raise anything
            failure = self.told(error, "reading it")
        else:
            if isinstance(found, DeviceState):
                return scrub.state(found, self._redact.of_what_is_held)
            failure = self._failed(Broken, "reading it", "gave no state")
        raise failure

    async def write(self, step: Step, *more: Step) -> None:
        """Send one step's write, once; with ``more``, those of all of them in one request.

        Raises:
            OutcomeUnknown: sent, and no whole answer came; or the plug-in broke down over it.
            DeviceError: surely not done.
        """
        try:
            await self._adapter.write(step, *more)
        except Exception as error:  # noqa: BLE001 - a plug-in may raise anything
            failure = self.told(error, f"writing {step.kind}", OutcomeUnknown)
        else:
            return
        raise failure

    async def close(self) -> None:
        """Let go of its connections, even where the plug-in can't."""
        with contextlib.suppress(Exception):  # nothing is lost by it, and all was said before
            await self._adapter.close()

    def told(self, error: Exception, doing: str, kind: type[DeviceError] = Broken) -> CutsheetError:
        """What a plug-in raised, as one of our errors: ``kind`` where it was none of them."""
        if isinstance(error, DeviceError):
            return cleaned(error, lambda said: clean(said, self._redact))
        if isinstance(error, CutsheetError):
            return error
        return self._failed(kind, doing, f"failed ({type(error).__name__})")

    def _failed(self, kind: type[DeviceError], doing: str, what: str) -> DeviceError:
        said = f"the plug-in {self._package} {what}"
        return kind(self._place.device.name, self._place.address, doing, said)


__all__ = ["GROUP", "ChangesSecrets", "Guarded", "Place", "PlugIn", "installed", "names", "plugged"]
