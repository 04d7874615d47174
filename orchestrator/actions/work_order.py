"""Work orders: a dry-run approved and kept, and applied later only if it is still true."""

from collections.abc import Mapping

from orchestrator.actions.apply import Order
from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice, lengths_in, scene_of, unfinished
from orchestrator.documents.work_order import WorkOrder
from orchestrator.errors import CallError
from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import Ref
from orchestrator.planning.digest import digest
from orchestrator.planning.proof.case import Meant
from orchestrator.planning.proof.prove import prove
from orchestrator.planning.result import DryRun
from orchestrator.running.fitting import does_not_fit


def work_order_of(
    desk: Desk,
    title: str,
    plan: DryRun,
    found: AsFound,
    *,
    choice: Choice | None = None,
    accepts: Mapping[str, str] | None = None,
) -> WorkOrder:
    """Make a work order of a dry-run, hazards and acceptances included.

    ``choice`` is what was chosen for the dry-run. ``accepts`` says by name who accepted what, why
    and when.

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
    chosen = choice or Choice()
    scene = scene_of(desk, found, chosen)
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
        rooms=tuple(sorted(scene.rooms)),
        meant={str(ref): wish for ref, wish in Meant.of(scene).listens_to.items()},
        terms=chosen.terms,
        accepts=accepts or {},
    )


def no_longer_true(desk: Desk, order: WorkOrder, found: AsFound) -> tuple[Hazard, ...]:
    """What the order takes for granted and the devices no longer bear out.

    Every device of the order must be in the state that was approved, and the proof must hold on
    the facility as it is found now, devices outside the order included. No unfinished run may
    own any of its devices. The rooms and wishes are those that were approved, whatever the
    playbooks say by now: a room that only holds an accepted listener is not among them.
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
    scene = scene_of(desk, found, Choice(rooms=order.rooms, accepted=accepted))
    meant = {Ref(*name.split("/", 1)): wish for name, wish in order.meant.items()}
    return (
        *does_not_fit(order.terms, lengths_in(order.terms, desk, order.sequence), desk.clock.now()),
        *prove(scene, order.sequence, Meant(meant)),
    )


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
        terms=order.terms,
        accepts=order.accepts,
    )
