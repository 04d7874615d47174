"""From a survey to a dry-run: the scene is set, planned and proved."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from orchestrator.actions.desk import Desk
from orchestrator.errors import CallError
from orchestrator.facility.found import AsFound
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import Sequence
from orchestrator.facility.wanted import AskedDevice, Release
from orchestrator.ledger.store import SqliteLedger, ledger_path
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene
from orchestrator.running.fitting import does_not_fit
from orchestrator.running.pace import phase_lengths
from orchestrator.running.terms import Terms


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What the user chose for a change.

    ``rooms``: those to be changed; empty: all that the playbooks speak of. ``phases``: which
    rooms go together, in order; empty: the tool chooses. ``accepted``: hazards accepted by name,
    with the reason. ``width``: how many devices are spoken to at one time. ``terms``: on which it
    is to be made.
    """

    rooms: tuple[str, ...] = ()
    phases: tuple[tuple[str, ...], ...] = ()
    accepted: Mapping[str, str] = field(default_factory=dict)
    width: int = 16
    terms: Terms = field(default_factory=Terms)


def scene_of(
    desk: Desk,
    found: AsFound,
    choice: Choice,
    asked: Mapping[str, AskedDevice] | None = None,
) -> Scene:
    """Set the scene for a change; ``asked`` takes the place of the playbooks.

    Raises:
        CallError: a room that is named is not in the plan.
    """
    wishes = desk.asked if asked is None else asked
    named = [*choice.rooms, *(room for group in choice.phases for room in group)]
    for room in named:
        if room not in desk.plan.rooms:
            has = ", ".join(desk.plan.rooms)
            raise CallError(f"the plan has no room {room}", f"name one of these: {has}")
    chosen = frozenset(named) or frozenset(
        desk.plan.devices[name].room for name in wishes if name in desk.plan.devices
    )
    playbooks = desk.documents.playbooks
    accepted = {a.hazard: a.reason for playbook in playbooks for a in playbook.accepts}
    return Scene(
        plan=desk.plan,
        found=found,
        asked={n: a for n, a in wishes.items() if desk.plan.devices[n].room in chosen},
        traits=desk.traits,
        rooms=chosen,
        phases=choice.phases,
        releases=tuple(
            release
            for playbook in playbooks
            for release in playbook.releases
            if _valid(release, desk.clock.now())
        ),
        accepted={**accepted, **choice.accepted},
        width=choice.width,
    )


def _valid(release: Release, now: datetime) -> bool:
    """Whether a release has not expired."""
    return datetime.fromisoformat(release.until) > now


def propose(
    desk: Desk,
    found: AsFound,
    choice: Choice,
    *,
    asked: Mapping[str, AskedDevice] | None = None,
    besides: tuple[Hazard, ...] = (),
    undoes: str | None = None,
    save_first: frozenset[str] = frozenset(),
) -> DryRun:
    """Plan and prove a change.

    ``besides`` are hazards found elsewhere. ``undoes`` names the run that is taken back: it does
    not stand in its own way.
    """
    scene = replace(scene_of(desk, found, choice, asked), save_first=save_first)
    plan = dry_run(scene)
    touched = {step.device for step in plan.sequence.steps}
    lengths = lengths_in(choice.terms, desk, plan.sequence)
    late = does_not_fit(choice.terms, lengths, desk.clock.now())
    extra = (*besides, *unfinished(desk, touched, undoes), *late)
    if not extra:
        return plan
    known = [
        replace(hazard, accepted=scene.accepted.get(hazard.name))
        if hazard.grade is Grade.NEEDS_NAME
        else hazard
        for hazard in extra
    ]
    hazards = sorted([*known, *plan.hazards], key=lambda hazard: not hazard.blocks)
    return replace(plan, hazards=tuple(hazards))


def lengths_of(desk: Desk, sequence: Sequence) -> tuple[float, ...]:
    """How many seconds each phase takes at the most, by the patience that its devices are given."""
    return phase_lengths(sequence, desk.patience)


def lengths_in(terms: Terms, desk: Desk, sequence: Sequence) -> tuple[float, ...]:
    """The same, where there is a window that they have to fit into; else none."""
    return lengths_of(desk, sequence) if terms.window is not None else ()


def unfinished(desk: Desk, touched: set[str], undoes: str | None = None) -> tuple[Hazard, ...]:
    """Unfinished runs, but for the one taken back, that own any of the devices ``touched``."""
    if not ledger_path(desk.folder).exists():
        return ()
    with SqliteLedger(desk.folder, looks=True) as ledger:
        return tuple(
            Hazard(
                name=f"unfinished:{run}",
                rule="run",
                grade=Grade.STOPS,
                what=f"run {run} is not finished, and {', '.join(shared)} belong to it until it is",
                where=shared,
                fix=f"'cutsheet resume {run}' or 'cutsheet undo {run}' first",
            )
            for run, shared in owners(ledger, touched, undoes).items()
        )


def owners(
    ledger: SqliteLedger, touched: set[str], undoes: str | None = None
) -> Mapping[str, tuple[str, ...]]:
    """The unfinished runs, but for the one taken back, and those of ``touched`` that each owns.

    One that was taken back in part still owns the devices that could not be reached.
    """
    owned = {
        line.id: ledger.record(line.id).before if line.unfinished else line.leaves
        for line in ledger.runs()
        if line.id != undoes
    }
    shared = {run: tuple(sorted(touched & set(devices))) for run, devices in owned.items()}
    return {run: devices for run, devices in shared.items() if devices}
