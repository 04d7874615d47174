"""The survey: what the devices say of themselves now. It only reads.

A device is looked for at every address where it may be, and known by its serial. One that is
found nowhere stands in the survey with the most telling reason: no answer is not vacant.
"""

import asyncio
from collections.abc import Iterable, Mapping

from orchestrator.errors import (
    Broken,
    Busy,
    CutsheetError,
    Rejected,
    SignInRefused,
    Unreachable,
    Untrusted,
    WrongDevice,
    words,
)
from orchestrator.facility.found import AsFound, Found, Identity, NotFound
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.wanted import AskedDevice
from orchestrator.running.protocols import Clock, DeviceAdapter, OpenAdapter

_TELLING = tuple(
    kind.__name__
    for kind in (WrongDevice, Untrusted, SignInRefused, Busy, Rejected, Broken, Unreachable)
)
"""Reasons for not finding a device, the most telling first; any other comes before these."""


async def survey(
    plan: Plan,
    asked: Mapping[str, AskedDevice],
    open_adapter: OpenAdapter,
    clock: Clock,
    *,
    width: int = 32,
    also: Mapping[str, tuple[str, ...]] | None = None,
    only: str | None = None,
) -> AsFound:
    """Ask every device of ``plan`` that the tool speaks to; a device's error stops no other.

    ``asked`` is what playbooks ask, by device: a device may already be where it is to go.
    ``also`` gives further addresses to look at; with ``only`` one device alone is asked.
    At most ``width`` devices are asked at once.
    What is off limits is read too: reading is harmless.
    """
    taken_at = clock.now().isoformat()
    spoken_to = [
        device for name, device in plan.devices.items() if device.speaks and only in (None, name)
    ]
    gate = asyncio.Semaphore(width)

    async def one(device: Device) -> Found | NotFound:
        addresses = candidates(device, asked.get(device.name), (also or {}).get(device.name, ()))
        seeker = _Seeker(device, _serials_of_others(plan, device), open_adapter, clock)
        async with gate:
            return await seeker.seek(addresses)

    async with asyncio.TaskGroup() as tasks:
        asking = {device.name: tasks.create_task(one(device)) for device in spoken_to}
    found = {name: task.result() for name, task in asking.items()}
    return AsFound(facility=plan.facility, taken_at=taken_at, devices=_one_unit_each(found))


def candidates(
    device: Device, asked: AskedDevice | None, also: tuple[str, ...] = ()
) -> tuple[str, ...]:
    """The addresses at which ``device`` may answer, in the order in which to look.

    First where the playbook says that it answers, then where it is to go, then where the plan
    has it. A device without a serial in the plan is looked for where the plan has it before
    where it is to go: what stands there now can't be told apart from it.
    """
    reach_at = (asked.reach_at,) if asked is not None and asked.reach_at is not None else ()
    wanted = tuple(asked.addresses.values()) if asked is not None else ()
    planned = (device.address,)
    middle = wanted + planned if device.serial is not None else planned + wanted
    return tuple(dict.fromkeys((*reach_at, *middle, *also)))


def _serials_of_others(plan: Plan, device: Device) -> frozenset[str]:
    return frozenset(
        other.serial
        for other in plan.devices.values()
        if other.serial is not None and other.name != device.name
    )


class _Seeker:
    """Looks for one device."""

    def __init__(
        self, device: Device, others: frozenset[str], open_adapter: OpenAdapter, clock: Clock
    ) -> None:
        self._device = device
        self._others = others
        self._open_adapter = open_adapter
        self._clock = clock
        self._met = False

    async def seek(self, addresses: Iterable[str]) -> Found | NotFound:
        missed: list[NotFound] = []
        for at in addresses:
            result = await self._look(at)
            if isinstance(result, Found) or self._met:
                return result  # the unit meant, even if it can't be read
            missed.append(result)
        return min(missed, key=_telling)

    async def _look(self, at: str) -> Found | NotFound:
        try:
            adapter = self._open_adapter(self._device.name, at)
            try:
                return await self._ask(adapter, at)
            finally:
                await adapter.close()
        except CutsheetError as error:
            return NotFound(at=at, why=words(error).what, kind=type(error).__name__)

    async def _ask(self, adapter: DeviceAdapter, at: str) -> Found:
        before = self._clock.now()
        identity = await adapter.identify()
        response = self._clock.now() - before
        self._check(identity, at, adapter.traits.models)
        self._met = True
        state = await adapter.read()
        self._check(state.identity, at, adapter.traits.models)
        # The middle of all its answers, if it is known: the first one had to be connected to.
        typical = getattr(adapter, "response_s", 0.0) or response.total_seconds()
        return Found(at=at, state=state, response_s=typical)

    def _check(self, identity: Identity, at: str, models: tuple[str, ...]) -> None:
        """Raise WrongDevice unless ``identity`` is the unit that the plan means."""
        serial = self._device.serial
        meant = identity.serial == serial if serial else identity.serial not in self._others
        if meant and (not models or identity.model in models):
            return
        expected = f"serial {serial}" if serial else "a unit that no other name in the plan has"
        if models:
            expected = f"{' or '.join(models)} {expected}" if serial else " or ".join(models)
        raise WrongDevice(
            device=self._device.name,
            address=at,
            doing="asking who it is",
            expected=expected,
            found=str(identity),
        )


def _telling(missed: NotFound) -> int:
    return _TELLING.index(missed.kind) if missed.kind in _TELLING else -1


def _one_unit_each(found: Mapping[str, Found | NotFound]) -> dict[str, Found | NotFound]:
    """Leave each unit to the first name in the plan that found it."""
    holders: dict[tuple[str, str], str] = {}
    each: dict[str, Found | NotFound] = {}
    for name, entry in found.items():
        each[name] = entry
        if isinstance(entry, Found):
            unit = (entry.state.identity.model, entry.state.identity.serial)
            holder = holders.setdefault(unit, name)
            if holder != name:
                each[name] = _taken(entry, name, holder)
    return each


def _taken(entry: Found, name: str, holder: str) -> NotFound:
    return NotFound(
        at=entry.at,
        why=f"{name} at {entry.at}: {entry.state.identity} answers, which is taken for {holder}; "
        "write both serials into the plan",
        kind=WrongDevice.__name__,
    )
