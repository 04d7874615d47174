"""The desk: a facility's documents, and the way to its devices, as every action needs them."""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from orchestrator.actions.credentials.sign_ins import asked_once, check_sign_ins
from orchestrator.actions.survey import survey
from orchestrator.adapters import plug_ins
from orchestrator.adapters.http.looking import LookAt, make_looker
from orchestrator.adapters.http.probe import make_probe
from orchestrator.adapters.open import (
    OpenDoorOf,
    in_the_clear,
    make_doors,
    make_opener,
    planned_device,
    traits_of,
)
from orchestrator.adapters.trust import Trust
from orchestrator.adapters.ways import Plugged
from orchestrator.documents.folder import Documents, load_checked
from orchestrator.errors import CallError
from orchestrator.facility.found import AsFound
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.secret import Secret
from orchestrator.facility.traits import Traits
from orchestrator.facility.wanted import AskedDevice
from orchestrator.planning.check import BUILT_IN
from orchestrator.planning.scene import merge
from orchestrator.running.protocols import Clock, OpenAdapter, ProbeAddress
from orchestrator.running.steps.patience import Patience

SURVEY_WIDTH = 32


class WallClock:
    """The computer's own clock."""

    def now(self) -> datetime:
        """The time, with its offset."""
        return datetime.now(UTC).astimezone()

    async def sleep(self, seconds: float) -> None:
        """Let time pass."""
        await asyncio.sleep(seconds)


@dataclass(frozen=True, kw_only=True)
class Desk:
    """Where an action stands: documents read and checked, devices within reach.

    ``cables`` says for how many seconds more each device is looked for whose cable has to be moved.
    """

    documents: Documents
    asked: Mapping[str, AskedDevice]
    open_adapter: OpenAdapter
    probe: ProbeAddress
    plugged: Plugged
    look: LookAt
    doors: OpenDoorOf
    clock: Clock
    cables: Mapping[str, float] = field(default_factory=dict)

    @property
    def folder(self) -> Path:
        """The facility's folder."""
        return self.documents.folder

    @property
    def plan(self) -> Plan:
        """The facility's plan."""
        return self.documents.plan

    @property
    def rooms(self) -> Mapping[str, str]:
        """Each device's room."""
        return {name: device.room for name, device in self.plan.devices.items()}

    @property
    def traits(self) -> Mapping[str, Traits]:
        """The traits of every device that the tool speaks to."""
        return {
            name: traits_of(device, self.documents.descriptions, self.plugged)
            for name, device in self.plan.devices.items()
            if device.speaks
        }

    @property
    def trust(self) -> Trust:
        """What certificates are judged by."""
        return trust_of(self.documents)

    @property
    def in_the_clear(self) -> tuple[str, ...]:
        """The devices whose sign-in can be read on its way."""
        return in_the_clear(self.plan, self.documents.descriptions, self.plugged)

    @property
    def patience(self) -> Mapping[str, Patience]:
        """How patient to be with each device."""
        return {
            name: Patience(
                late_s=traits.late_s,
                settle_s=traits.settle_s,
                cable_s=self.cables.get(name, 0.0),
            )
            for name, traits in self.traits.items()
        }

    async def survey(
        self,
        asked: Mapping[str, AskedDevice] | None = None,
        also: Mapping[str, tuple[str, ...]] | None = None,
        only: str | None = None,
    ) -> AsFound:
        """Ask every device; ``asked`` (by default the playbooks) says where else to look.

        With ``only`` one device alone is asked.

        Raises:
            CallError: the plan has no such device, or does not say how it is spoken to.
            NoSecret: a credential of the plan has no secret; no device was asked then.
        """
        named = None if only is None else (_spoken_to(self.plan, only),)
        devices = self.plan.devices.values() if named is None else named
        await check_sign_ins(devices, self.open_adapter)
        return await survey(
            self.plan,
            self.asked if asked is None else asked,
            self.open_adapter,
            self.clock,
            width=SURVEY_WIDTH,
            also=also,
            only=only,
        )


def _spoken_to(plan: Plan, name: str) -> Device:
    device = planned_device(plan, name)
    if not device.speaks:
        raise CallError(
            f"{name} is not spoken to: the plan does not say how",
            f"give {name} a 'speaks:' in plan.yaml",
        )
    return device


def read_facility(folder: Path, playbooks: Sequence[Path] | None = None) -> Documents:
    """Read and check a facility's documents; ``speaks`` may name what a plug-in offers.

    Raises:
        DocumentError: something is wrong in the documents.
        CallError: a playbook does not exist.
    """
    return load_checked(folder, playbooks, BUILT_IN | plug_ins.names())


def trust_of(documents: Documents) -> Trust:
    """What the documents judge certificates by."""
    return Trust(authorities=documents.authorities, pins=documents.pins)


def plugged_of(documents: Documents) -> Plugged:
    """The plug-ins that the plan names, loaded; a device description of a name goes before one.

    Raises:
        PlugInBroken: one can't be loaded.
    """
    wanted = {name for device in documents.plan.devices.values() for name in device.speaks}
    return plug_ins.plugged(wanted - documents.descriptions.keys() - BUILT_IN)


def open_desk(
    folder: Path,
    *,
    secrets: Callable[[str], Secret],
    playbooks: Sequence[Path] | None = None,
    connect: Mapping[str, str] | None = None,
    clock: Clock | None = None,
    trace: Callable[[str], None] | None = None,
) -> Desk:
    """Read and check a facility's documents and make its devices reachable; nothing is sent.

    ``connect`` maps addresses to ``host:port``, where connections go instead. ``trace`` is told
    each request and answer as text, without secrets.

    Raises:
        DocumentError: something is wrong in the documents.
        CallError: a playbook does not exist, or ``connect`` is not written right.
    """
    documents = read_facility(folder, playbooks)
    plugged = plugged_of(documents)
    ways = connect or {}
    descriptions, secret_of = documents.descriptions, asked_once(secrets)
    trust = trust_of(documents)
    return Desk(
        documents=documents,
        asked=merge(documents.playbooks),
        open_adapter=make_opener(
            documents.plan, descriptions, secret_of, ways, trace=trace, trust=trust, plugged=plugged
        ),
        probe=make_probe(documents.plan, documents.descriptions, ways, plugged=plugged),
        look=make_looker(documents.plan, descriptions, ways, plugged),
        plugged=plugged,
        doors=make_doors(documents.plan, descriptions, ways, trust=trust, plugged=plugged),
        clock=clock or WallClock(),
    )
