"""The look round at a go/no-go point: a survey made then, audited and held against the ledger."""

from collections.abc import Sequence

from orchestrator.actions.desk import Desk
from orchestrator.actions.driving.perform import LookRound
from orchestrator.actions.propose import Choice, scene_of
from orchestrator.facility.found import AsFound, NotFound
from orchestrator.facility.hazard import Hazard
from orchestrator.planning.audit import audit
from orchestrator.running.back.undo import addresses
from orchestrator.running.protocols import Ledger
from orchestrator.running.record import RunRecord
from orchestrator.running.rounds import look_round


def looking_round(desk: Desk, ledger: Ledger, record: RunRecord) -> LookRound:
    """Make what reads and audits everything for ``record`` when it is asked to."""

    async def look(_phase: int) -> Sequence[str]:
        found = await desk.survey(also=addresses(record))
        return look_round(record, ledger.events(record.id), found, audited(desk, found))

    return look


def audited(desk: Desk, found: AsFound) -> Sequence[Hazard]:
    """What an audit says of a survey."""
    return audit(scene_of(desk, found, Choice()))


def known_before(desk: Desk, found: AsFound) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What was out of order before a run, by name; and which devices did not answer."""
    names = tuple(hazard.name for hazard in audited(desk, found))
    absent = (name for name, entry in found.devices.items() if isinstance(entry, NotFound))
    return names, tuple(absent)
