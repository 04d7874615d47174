"""Apply: a run from its first question to its last event."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from orchestrator.actions.desk import Desk
from orchestrator.actions.drive import drive
from orchestrator.actions.look_round import known_before, looking_round
from orchestrator.actions.notes import NotesKeeper, notes_path
from orchestrator.actions.propose import owners
from orchestrator.actions.questions import BEFORE_THE_FIRST_WRITE, go_questions
from orchestrator.actions.sign_ins import check_sign_ins
from orchestrator.errors import CallError
from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import Sequence as Steps
from orchestrator.ledger.lock import hold
from orchestrator.ledger.store import SqliteLedger
from orchestrator.planning.digest import digest
from orchestrator.planning.result import DryRun
from orchestrator.running.events import Event
from orchestrator.running.gate import Words
from orchestrator.running.pace import phase_lengths
from orchestrator.running.protocols import Person, Reporter
from orchestrator.running.record import RunRecord
from orchestrator.running.run import Run
from orchestrator.running.terms import Terms

ReporterFor = Callable[[RunRecord, Sequence[Event]], Reporter]
"""Makes the reporter of a run, from its record and the events stored so far."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attendance:
    """Who attends a run: the person who answers, who is told, and where copies go.

    ``keep_copy`` is a folder, best on another disk: the notes are kept there too.
    """

    person: Person
    reporter_for: ReporterFor
    keep_copy: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How an action on a run ended. ``run`` is None where a question was answered no-go."""

    run: str | None
    finished: bool = False
    why: str = ""
    notes: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is to be applied: a proved sequence with what was decided about it."""

    title: str
    sequence: Steps
    found: AsFound
    hazards: tuple[Hazard, ...]
    mended: Mapping[str, tuple[str, ...]]
    undoes: str | None = None
    terms: Terms = field(default_factory=Terms)


def order_of(
    title: str,
    plan: DryRun,
    found: AsFound,
    undoes: str | None = None,
    terms: Terms | None = None,
) -> Order:
    """Make an order of a dry-run, to be applied on ``terms``.

    Raises:
        CallError: a hazard forbids it.
    """
    if plan.stopped or not plan.proved:
        raise CallError("the dry-run has hazards that stop it", "see 'cutsheet dry-run'")
    return Order(
        title=title,
        sequence=plan.sequence,
        found=found,
        hazards=plan.hazards,
        mended=plan.mended,
        undoes=undoes,
        terms=terms or Terms(),
    )


async def apply(desk: Desk, order: Order, attendance: Attendance) -> Ended:
    """Apply ``order``: ask, lock, store, write the notes, then go step by step.

    The whole state of every device to be touched is stored, and the rollback notes are written,
    before the first write.

    Raises:
        LedgerError: another run holds the facility, or the ledger can't be written.
        CallError: a run that began, and did not finish, since the survey owns one of the devices.
    """
    for question, text in BEFORE_THE_FIRST_WRITE.items():
        go, by = await attendance.person.ask(question, text)
        if not go:
            return Ended(run=None, why=f"{question}: no ({by or 'not answered'})")
    with hold(desk.folder, f"apply: {order.title}"), SqliteLedger(desk.folder) as ledger:
        record = _record(desk, order, ledger)
        _refuse_owned(ledger, record)
        ledger.begin(record)
        return await _go(desk, ledger, record, attendance)


async def resume(desk: Desk, run: str, attendance: Attendance) -> Ended:
    """Go on with a run where it stands: what may have landed is read before anything else.

    Raises:
        LedgerError: no such run, or another run holds the facility.
        CallError: the run is over, or a credential of its devices has no secret.
    """
    with hold(desk.folder, f"resume {run}"), SqliteLedger(desk.folder, create=False) as ledger:
        record = ledger.record(run)
        line = next(line for line in ledger.runs() if line.id == run)
        if not line.unfinished:
            raise CallError(
                f"run {run} is {line.state}: there is nothing to go on with",
                "'cutsheet runs' lists what is unfinished",
            )
        touched = (desk.plan.devices[name] for name in record.before if name in desk.plan.devices)
        await check_sign_ins(touched, desk.open_adapter)
        return await _go(desk, ledger, record, attendance)


async def _go(desk: Desk, ledger: SqliteLedger, record: RunRecord, attendance: Attendance) -> Ended:
    events = ledger.events(record.id)
    path = notes_path(desk.folder, record.id)
    copy = attendance.keep_copy
    copies = (copy / f"rollback-notes-{record.id}.md",) if copy is not None else ()
    reporter = attendance.reporter_for(record, events)
    keeper = NotesKeeper(record, events, (path, *copies), reporter)
    keeper.write()
    run = Run(
        record.sequence,
        record.expects,
        events,
        patience=desk.patience,
        terms=record.terms,
        rooms=desk.rooms,
        audits=True,
        questions=_questions(desk, record),
    )
    await drive(
        run,
        record.id,
        open_adapter=desk.open_adapter,
        probe=desk.probe,
        ledger=ledger,
        clock=desk.clock,
        reporter=keeper,
        person=attendance.person,
        look=looking_round(desk, ledger, record),
    )
    return Ended(run=record.id, finished=run.finished, why=run.paused or "", notes=path)


def _questions(desk: Desk, record: RunRecord) -> Words:
    window = record.terms.window
    lengths = phase_lengths(record.sequence, desk.patience) if window is not None else ()
    return go_questions(record.sequence, window, lengths)


def _refuse_owned(ledger: SqliteLedger, record: RunRecord) -> None:
    """Look again for unfinished runs, now that none can begin."""
    for run, devices in owners(ledger, set(record.before), record.undoes).items():
        raise CallError(
            f"run {run} is not finished, and {', '.join(devices)} belong to it until it is",
            f"'cutsheet resume {run}' or 'cutsheet undo {run}' first",
        )


def _record(desk: Desk, order: Order, ledger: SqliteLedger) -> RunRecord:
    now = desk.clock.now()
    known, absent = known_before(desk, order.found)
    touched = dict.fromkeys(step.device for step in order.sequence.steps)
    before = {
        name: entry for name in touched if isinstance(entry := order.found.devices.get(name), Found)
    }
    return RunRecord(
        id=ledger.new_id(now),
        facility=desk.plan.facility,
        title=order.title,
        made_at=now.isoformat(timespec="seconds"),
        digest=digest(order.sequence),
        sequence=order.sequence,
        expects={name: entry.state.identity for name, entry in before.items()},
        before=before,
        hazards=order.hazards,
        mended=order.mended,
        undoes=order.undoes,
        terms=order.terms,
        known=known,
        absent=absent,
    )
