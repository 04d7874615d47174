"""Undo: a run taken back, planned and proved as a run of its own."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from orchestrator.actions.apply import Order, order_of
from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice, propose
from orchestrator.facility.found import AsFound, Found, NotFound
from orchestrator.ledger.store import SqliteLedger
from orchestrator.planning.result import DryRun
from orchestrator.running.back.undo import addresses, take_back
from orchestrator.running.back.unreached import plan_with as plan_with_lost
from orchestrator.running.in_flight import may_land_s
from orchestrator.running.record import RunRecord
from orchestrator.running.terms import Terms
from orchestrator.running.view import RunState


@dataclass(frozen=True, slots=True, kw_only=True)
class Undo:
    """A run taken back, not yet applied. ``stays``: mended faults that stay mended, in words.

    ``plan_with`` plans it with a choice: what a person accepts meanwhile can be added. ``rooms``
    are those whose part alone is taken back, ``leaves`` the devices that can't be reached.
    ``state`` is where the run stands.
    """

    record: RunRecord
    found: AsFound
    plan_with: Callable[[Choice], DryRun]
    stays: tuple[str, ...]
    state: RunState
    rooms: tuple[str, ...] = ()
    leaves: tuple[str, ...] = ()

    @property
    def may_close(self) -> bool:
        """Whether the run counts as taken back once nothing that it wrote is left.

        Not while another run takes it back: that is to be finished, or taken back, first.
        """
        return not self.rooms and self.state not in {RunState.UNDONE, RunState.UNDOING}


async def undo(desk: Desk, run: str, rooms: tuple[str, ...] = ()) -> Undo:
    """Plan how ``run`` is taken back, from what the devices say now.

    With ``rooms`` only their part is taken back, and what it would leave half-way elsewhere. What
    can't be reached is left as it is, by name, and holds what the ledger says that it holds. Where
    the run stopped in the middle of a write, the time in which that may land is waited out first.

    Raises:
        LedgerError: no such run.
    """
    with SqliteLedger(desk.folder, create=False, looks=True) as ledger:
        record, events = ledger.record(run), ledger.events(run)
        lines = ledger.runs()
        state = next(line.state for line in lines if line.id == run)
        takers = [line.id for line in lines if line.undoes == run]
        parts = [(ledger.record(taker), ledger.events(taker)) for taker in takers]
    # What was sent in the last instant may land after a look at the devices, and over a write.
    await desk.clock.sleep(may_land_s(record.sequence, events, desk.patience))
    found = await desk.survey(asked={}, also=addresses(record))
    part = frozenset(n for n, device in desk.plan.devices.items() if device.room in rooms)
    benched, away = _benched(desk, record.before), _benched(desk, found.devices)
    back = take_back(
        record, events, found, benched, part if rooms else None, away=away, parts=parts
    )
    plan = plan_with_lost(desk.plan, record, events, back.lost)
    as_left = replace(desk, documents=replace(desk.documents, plan=plan))
    accepted = {h.name: h.accepted for h in record.hazards if h.accepted is not None}

    def plan_with(chosen: Choice) -> DryRun:
        wider = replace(chosen, accepted={**accepted, **chosen.accepted})
        return propose(
            as_left,
            found,
            wider,
            asked=back.asked,
            besides=back.hazards,
            undoes=run,
            save_first=back.save_first,
        )

    return Undo(
        record=record,
        found=found,
        plan_with=plan_with,
        stays=back.stays,
        state=state,
        rooms=rooms,
        leaves=tuple(back.lost),
    )


def order_back(
    back: Undo, plan: DryRun, terms: Terms, accepts: Mapping[str, str] | None = None
) -> Order:
    """What is applied for a run taken back.

    Raises:
        CallError: a hazard forbids it.
    """
    what = f"{' and '.join(back.rooms)} of {back.record.id}" if back.rooms else back.record.id
    order = order_of(
        f"Undo of {what}: {back.record.title}",
        plan,
        back.found,
        undoes=back.record.id,
        terms=terms,
        accepts=accepts,
    )
    return replace(order, rooms=back.rooms, leaves=back.leaves)


def _benched(desk: Desk, entries: Mapping[str, Found | NotFound]) -> frozenset[str]:
    """The devices that stand, or stood, on a bench."""
    networks = {
        name: desk.plan.network_of(entry.at)
        for name, entry in entries.items()
        if isinstance(entry, Found)
    }
    return frozenset(name for name, net in networks.items() if net is not None and net.bench)
