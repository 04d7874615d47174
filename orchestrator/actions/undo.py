"""Undo: a run taken back, planned and proved as a run of its own."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice, propose
from orchestrator.facility.found import AsFound
from orchestrator.ledger.store import SqliteLedger
from orchestrator.planning.result import DryRun
from orchestrator.running.record import RunRecord
from orchestrator.running.undo import addresses, take_back


@dataclass(frozen=True, slots=True, kw_only=True)
class Undo:
    """A run taken back, not yet applied. ``stays``: mended faults that stay mended, in words.

    ``plan_with`` plans it with a choice: what a person accepts meanwhile can be added.
    """

    record: RunRecord
    found: AsFound
    plan_with: Callable[[Choice], DryRun]
    stays: tuple[str, ...]


async def undo(desk: Desk, run: str) -> Undo:
    """Plan how ``run`` is taken back, from what the devices say now.

    Raises:
        LedgerError: no such run.
    """
    with SqliteLedger(desk.folder, create=False) as ledger:
        record, events = ledger.record(run), ledger.events(run)
    found = await desk.survey(asked={}, also=addresses(record))
    back = take_back(record, events, found, _benched(desk, record))
    accepted = {h.name: h.accepted for h in record.hazards if h.accepted is not None}

    def plan_with(chosen: Choice) -> DryRun:
        wider = replace(chosen, accepted={**accepted, **chosen.accepted})
        return propose(desk, found, wider, asked=back.asked, besides=back.hazards, undoes=run)

    return Undo(record=record, found=found, plan_with=plan_with, stays=back.stays)


def _benched(desk: Desk, record: RunRecord) -> frozenset[str]:
    """The devices that stood on a bench before the run."""
    networks = {name: desk.plan.network_of(entry.at) for name, entry in record.before.items()}
    return frozenset(name for name, net in networks.items() if net is not None and net.bench)
