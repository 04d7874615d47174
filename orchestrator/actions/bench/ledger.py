"""What the ledger tells of a unit: whether it has joined, or a run with it is not finished."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from ipaddress import IPv4Address
from pathlib import Path

from orchestrator.ledger.store import SqliteLedger, ledger_path
from orchestrator.planning.bench import BenchUnit
from orchestrator.running.record import RunRecord
from orchestrator.running.view import RunState


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """The latest run that took the unit off its bench, if there is one that was not taken back.

    ``devices`` are those of the run, ``serials`` those of the units that it expects.
    """

    run: str | None = None
    unfinished: bool = False
    joined: bool = False
    serial: str | None = None
    devices: tuple[str, ...] = ()
    serials: Mapping[str, str] = field(default_factory=dict)


def past_of(folder: Path, unit: BenchUnit) -> Past:
    """What the ledger of the facility in ``folder`` tells of ``unit``."""
    if not ledger_path(folder).exists():
        return Past()
    found = Past()
    with SqliteLedger(folder, looks=True) as ledger:
        for line in ledger.runs():
            record = ledger.record(line.id)
            if not _from_the_bench(record, unit) or line.state is RunState.UNDONE:
                continue
            found = Past(
                run=line.id,
                unfinished=line.unfinished,
                joined=line.state is RunState.FINISHED,
                serial=record.expects[unit.name].serial,
                devices=tuple(record.before),
                serials={name: who.serial for name, who in record.expects.items()},
            )
    return found


def _from_the_bench(record: RunRecord, unit: BenchUnit) -> bool:
    before = record.before.get(unit.name)
    if before is None or record.undoes is not None:
        return False
    meant = unit.device.serial in (None, before.state.identity.serial)
    return meant and IPv4Address(before.at) in unit.bench.subnet
