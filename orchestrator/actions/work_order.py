"""Work orders: a dry-run approved and kept, and applied later only if it is still true."""

from orchestrator.actions.apply import Order
from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice, scene_of, unfinished
from orchestrator.documents.work_order import WorkOrder
from orchestrator.errors import CallError
from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.planning.digest import digest
from orchestrator.planning.proof.case import Meant
from orchestrator.planning.proof.prove import prove
from orchestrator.planning.result import DryRun


def work_order_of(desk: Desk, title: str, plan: DryRun, found: AsFound) -> WorkOrder:
    """Make a work order of a dry-run, hazards and acceptances included.

    Raises:
        CallError: a hazard stops it, or there is nothing to do.
    """
    if plan.stopped or not plan.proved:
        raise CallError(
            "the dry-run has hazards that stop it, so no work order was written",
            "deal with the hazards first",
        )
    before = {
        name: entry
        for name in dict.fromkeys(step.device for step in plan.sequence.steps)
        if isinstance(entry := found.devices.get(name), Found)
    }
    return WorkOrder(
        facility=desk.plan.facility,
        title=title,
        made_at=desk.clock.now().isoformat(timespec="seconds"),
        digest=digest(plan.sequence),
        sequence=plan.sequence,
        expects={name: entry.state.identity for name, entry in before.items()},
        before=before,
        hazards=plan.hazards,
        mended=plan.mended,
    )


def no_longer_true(desk: Desk, order: WorkOrder, found: AsFound) -> tuple[Hazard, ...]:
    """What the order takes for granted and the devices no longer bear out.

    Every device of the order must be in the state that was approved, and the proof must hold on
    the facility as it is found now, devices outside the order included. No unfinished run may
    own any of its devices.
    """
    changed = [
        Hazard(
            name=f"no-longer-true:{name}",
            rule="H7",
            grade=Grade.STOPS,
            what=f"{name} {why}",
            where=(name,),
            fix="look at what was changed; then make the work order anew with 'cutsheet dry-run'",
        )
        for name, approved in order.before.items()
        if (why := _difference(approved, found.devices.get(name)))
    ]
    changed += unfinished(desk, set(order.before))
    if changed:
        return tuple(changed)
    accepted = {h.name: h.accepted for h in order.hazards if h.accepted is not None}
    rooms = tuple(room for phase in order.sequence.phases for room in phase.rooms)
    scene = scene_of(desk, found, Choice(rooms=rooms, accepted=accepted))
    return tuple(prove(scene, order.sequence, Meant.of(scene)))


def _difference(approved: Found, now: object) -> str:
    """How a device differs from its approved state, in words; empty if it does not."""
    if not isinstance(now, Found):
        return "does not answer now"
    old, new = approved.state, now.state
    if old == new:
        return ""
    if old.identity != new.identity:
        return f"was {old.identity} and is {new.identity} now"
    parts = [
        f"{what} {name}"
        for what, before, after in (
            ("interface", old.interfaces, new.interfaces),
            ("source", old.sources, new.sources),
            ("destination", old.destinations, new.destinations),
            ("setting", old.settings, new.settings),
        )
        for name in {**before, **after}
        if before.get(name) != after.get(name)
    ]
    return f"was changed since the order was approved: {', '.join(parts) or 'what is saved'}"


def order_from(order: WorkOrder, found: AsFound) -> Order:
    """What is applied for a work order that is still true."""
    return Order(
        title=order.title,
        sequence=order.sequence,
        found=found,
        hazards=order.hazards,
        mended=order.mended,
    )
