"""An NMOS node over HTTP, which asks other nodes how their senders' streams are described.

A receiver is pointed with the sender's own session description and id where they can be had: they
say what the group alone does not (how the audio is coded, which clock it follows). They can't
where the source's device speaks no NMOS, can't be reached, or has no description while it is off;
what is described but does not lead to the wanted group is not used either. Then group and port are
all that is written.
"""

from collections.abc import Mapping
from contextlib import suppress
from typing import Protocol, runtime_checkable

from orchestrator.adapters.http.parts import one_by_one
from orchestrator.adapters.http.rest_device import RestDevice
from orchestrator.adapters.nmos.bulk import NOT_OFFERED
from orchestrator.adapters.nmos.dialect import Nmos
from orchestrator.adapters.nmos.stage import Told
from orchestrator.adapters.way import Opening
from orchestrator.errors import CutsheetError, DeviceError, Rejected, words
from orchestrator.facility.configuration import FAILED, PutBack
from orchestrator.facility.description import Json
from orchestrator.facility.step import Origin, Step
from orchestrator.running.protocols import DeviceAdapter

NMOS_TIMEOUT_S = 5.0


@runtime_checkable
class TellsOfSources(Protocol):
    """A device that can say how its streams are described."""

    async def told(self, source: str) -> Told | None:
        """What it says of one of its sources; None if it says nothing of it.

        Raises:
            DeviceError: it could not be asked.
        """
        ...


@runtime_checkable
class GivesConfiguration(Protocol):
    """A device that can give its whole configuration, and take it back."""

    async def configuration(self) -> dict[str, Json]:
        """Its whole configuration, by the parts of it that give one; empty: it offers none.

        Raises:
            DeviceError: it could not be asked.
        """
        ...

    async def put_back(self, parts: Mapping[str, Json], *, only_try: bool) -> tuple[PutBack, ...]:
        """Put a configuration back, or ask what would become of it.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: it is refused, or could not be sent.
        """
        ...


class NmosDevice(RestDevice):
    """One node at one address (a ``DeviceAdapter``)."""

    def __init__(self, to: Opening, dialect: Nmos, port: int) -> None:
        transport = to.transport(to.device.scheme, port, timeout_s=NMOS_TIMEOUT_S)
        super().__init__(dialect, transport, patience=to.patience, gate=to.gate)
        self._nmos = dialect
        self._to = to

    async def told(self, source: str) -> Told | None:
        """What the node says of one of its senders; None if it says nothing of it.

        Raises:
            DeviceError: it could not be asked.
        """
        return await self._converse(self._nmos.told(source))

    async def configuration(self) -> dict[str, Json]:
        """Its whole configuration, by the devices that give it; empty: it offers none.

        Raises:
            DeviceError: it could not be asked.
        """
        return await self._converse(self._nmos.configuration())

    async def put_back(self, parts: Mapping[str, Json], *, only_try: bool) -> tuple[PutBack, ...]:
        """Put a configuration back, or ask what would become of it.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: it is refused, or could not be sent.
        """
        found: list[PutBack] = []
        for device, data_set in parts.items():
            talk = self._nmos.put_back(device, data_set, only_try=only_try)
            try:
                found += await self._converse(talk)
            except DeviceError as error:
                if not found:
                    raise
                # What was done before must be told, too.
                found.append(PutBack(path=device, status=FAILED, said=(words(error).what,)))
        return tuple(found)

    async def write(self, step: Step, *more: Step) -> None:
        """Send one step's write, once; before a repoint, ask the sender's own node.

        ``more`` go in the same request where the node takes bulk requests, else one by one.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            PartlyRefused: it was answered for each of several apart.
            DeviceError: surely not done, none of it.
        """
        if not more:
            await self._converse(self._nmos.write(step, await self._told(step)))
            return
        steps = (step, *more)
        told = [await self._told(each) for each in steps]
        place = await self._converse(self._nmos.bulk(steps))
        if place is not None:
            try:
                await self._converse(self._nmos.write_all(place, steps, told))
            except Rejected as error:
                if error.status not in NOT_OFFERED:
                    raise
                self._nmos.forget_bulk()
            else:
                return
        known = dict(zip(steps, told, strict=True))
        await one_by_one(
            self._to.party,
            steps,
            lambda each: self._converse(self._nmos.write(each, known[each])),
        )

    async def _told(self, step: Step) -> Told | None:
        """What the source's own node says of it, where a repoint is for one and it can be had."""
        if step.origin is None:
            return None
        with suppress(CutsheetError):  # it is pointed by its group alone then
            return await self._ask(step.origin)
        return None

    async def _ask(self, origin: Origin) -> Told | None:
        adapter = self._to.open_other(origin.device, origin.at)
        try:
            if not isinstance(adapter, TellsOfSources) or not await self._is_meant(origin, adapter):
                return None
            return await adapter.told(origin.source)
        finally:
            await adapter.close()

    async def _is_meant(self, origin: Origin, adapter: DeviceAdapter) -> bool:
        """Whether the unit that answers there is the one that the plan means."""
        planned = self._to.plan.devices[origin.device].serial
        return planned is None or (await adapter.identify()).serial == planned
