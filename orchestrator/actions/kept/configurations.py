"""The whole configurations of the devices of a run, where they give one: had before, put back.

A configuration holds more than the run writes and than anything is proved of. So ``undo`` never
uses it: it takes back what the run wrote. This is for a unit that was reset, replaced or spoilt,
with all its sources off, by a person who has seen what the unit says that it would do.
"""

import asyncio
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from orchestrator.actions.desk import Desk
from orchestrator.actions.kept.copies import configuration_path
from orchestrator.actions.propose import owners
from orchestrator.adapters.nmos.device import GivesConfiguration
from orchestrator.documents.configuration import read_configuration
from orchestrator.errors import CallError, CutsheetError, WrongDevice, words
from orchestrator.facility.configuration import Configuration, PutBack
from orchestrator.facility.description import Json
from orchestrator.facility.found import Found, Identity
from orchestrator.ledger.lock import hold
from orchestrator.ledger.store import SqliteLedger
from orchestrator.running.protocols import DeviceAdapter, Person
from orchestrator.running.record import RunRecord

QUESTION = "put-back"
_WIDTH = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What was had before a run: configurations by device, and why one that is offered was not."""

    configurations: Mapping[str, Configuration]
    failed: Mapping[str, str]

    @property
    def as_recorded(self) -> dict[str, str | None]:
        """Each device that offers one, and why it could not be had; None: it is kept."""
        return {**dict.fromkeys(self.configurations), **self.failed}


async def take(desk: Desk, record: RunRecord) -> Taken:
    """Ask each device of a run for its configuration; one that can't give it stops nothing."""
    gate = asyncio.Semaphore(_WIDTH)
    found: dict[str, Configuration] = {}
    failed: dict[str, str] = {}

    async def one(name: str, before: Found) -> None:
        async with gate:
            try:
                adapter = desk.open_adapter(name, before.at)
            except CutsheetError:
                return  # nothing says that it would have offered one
            try:
                parts = await _parts(adapter, name, before)
            except CutsheetError as error:
                failed[name] = words(error).what
                return
            finally:
                await adapter.close()
        if parts:
            found[name] = Configuration(
                device=name,
                serial=before.state.identity.serial,
                run=record.id,
                taken_at=record.made_at,
                parts=parts,
            )

    traits = desk.traits
    async with asyncio.TaskGroup() as tasks:
        for name, before in record.before.items():
            if name in traits and traits[name].gives_configuration:
                tasks.create_task(one(name, before))
    return Taken(configurations=found, failed=failed)


async def _parts(adapter: DeviceAdapter, name: str, before: Found) -> dict[str, Json]:
    if not isinstance(adapter, GivesConfiguration):
        return {}
    _same_unit(name, before.at, before.state.identity.serial, await adapter.identify())
    return await adapter.configuration()


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a configuration was put back.

    ``tried`` is what the device said it would do, object by object; ``done`` what it did (None:
    nothing was written, and ``why`` says why). ``came_on`` are sources that are on now.
    """

    tried: tuple[PutBack, ...]
    done: tuple[PutBack, ...] | None = None
    why: str = ""
    came_on: tuple[str, ...] = ()


async def put_back(
    desk: Desk, run: str, device: str, person: Person, *, only_try: bool = False
) -> Ended:
    """Put back the configuration that ``device`` had before ``run``; ask the device first.

    Raises:
        CallError: none is kept, the device is off limits or sends, or a run owns it.
        DeviceError: the device could not be asked, is another unit, or refuses.
    """
    with hold(desk.folder, f"put-back {device} {run}"):
        kept = _kept(desk, run, device)
        found = await _present(desk, device, kept.serial)
        if not only_try:
            _allowed(desk, device, found)
        tried = await _asked(desk, device, found.at, kept, only_try=True)
        if only_try:
            return Ended(tried=tried, why="it was only asked")
        go, by = await person.ask(QUESTION, _question(device, kept, tried))
        if not go:
            return Ended(tried=tried, why=f"{QUESTION}: no ({by or 'not answered'})")
        found = await _present(desk, device, kept.serial)  # time has passed
        _allowed(desk, device, found)
        done = await _asked(desk, device, found.at, kept, only_try=False)
        after = await _present(desk, device, kept.serial)
    on = tuple(name for name, source in after.state.sources.items() if source.enabled)
    return Ended(tried=tried, done=done, came_on=on)


def _kept(desk: Desk, run: str, device: str) -> Configuration:
    with SqliteLedger(desk.folder, create=False) as ledger:
        record = ledger.record(run)
        owned = owners(ledger, {device})
    if owned:
        raise CallError(
            f"run {next(iter(owned))} is not finished, and {device} belongs to it until it is",
            f"'cutsheet resume {next(iter(owned))}' or 'cutsheet undo {next(iter(owned))}' first",
        )
    why = record.configurations.get(device, "it offers none, or was not part of the run")
    path = configuration_path(desk.folder, run, device)
    if why is not None or not path.exists():
        raise CallError(
            f"no configuration of {device} is kept with run {run}: {why or 'the file is gone'}",
            f"'cutsheet rollback-notes {run}' says what is kept",
        )
    return read_configuration(path)


def _allowed(desk: Desk, device: str, found: Found) -> None:
    off_limits = desk.plan.devices[device].off_limits
    if off_limits is not None:
        raise CallError(f"{device} is off limits: {off_limits}", "leave it as it is")
    on = [name for name, source in found.state.sources.items() if source.enabled]
    if on:
        raise CallError(
            f"{device} sends: {', '.join(on)} {'is' if len(on) == 1 else 'are'} on",
            "switch them off by a playbook first; what is put back may renumber or switch them",
        )


async def _present(desk: Desk, device: str, serial: str) -> Found:
    entry = (await desk.survey(only=device)).devices[device]
    if not isinstance(entry, Found):
        raise CallError(f"{device} was not found: {entry.why}", "survey it first")
    _same_unit(device, entry.at, serial, entry.state.identity)
    return entry


async def _asked(
    desk: Desk, device: str, at: str, kept: Configuration, *, only_try: bool
) -> tuple[PutBack, ...]:
    adapter = desk.open_adapter(device, at)
    try:
        if not isinstance(adapter, GivesConfiguration):
            raise CallError(f"{device} takes no configuration in the way it is spoken to now", "")
        return await adapter.put_back(kept.parts, only_try=only_try)
    finally:
        await adapter.close()


def _same_unit(device: str, at: str, serial: str, identity: Identity) -> None:
    if identity.serial != serial:
        raise WrongDevice(
            device=device,
            address=at,
            doing="asking who it is",
            expected=f"serial {serial}",
            found=str(identity),
        )


def _question(device: str, kept: Configuration, tried: Sequence[PutBack]) -> tuple[str, ...]:
    well = [one for one in tried if one.done]
    would = (
        f"{device} says that it would put back {len(well)} of {len(tried)} objects, as they were "
        f"at {kept.taken_at}."
    )
    danger = (
        "That is more than the run wrote, it is proved by nobody, and nothing takes it back: what "
        "fails leaves the rest done. Its sources are off now; it may switch them on."
    )
    return (
        would,
        *(f"not {one.path}: {one.status} {'; '.join(one.said)}" for one in tried if not one.done),
        danger,
        "Are headphones off and monitors down in every room that listens to it?",
    )
