"""Apply: a run from its first question to its last event."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from orchestrator.actions.credentials.sign_ins import check_sign_ins
from orchestrator.actions.desk import Desk
from orchestrator.actions.driving.drive import drive
from orchestrator.actions.driving.look_round import known_before, looking_round
from orchestrator.actions.kept.configurations import take
from orchestrator.actions.kept.copies import (
    keep_configurations,
    keep_states,
    notes_places,
    same_disk,
)
from orchestrator.actions.kept.notes import NotesKeeper
from orchestrator.actions.propose import lengths_of, owners
from orchestrator.actions.questions import (
    BEFORE_SOURCES_RETURN,
    BEFORE_THE_FIRST_WRITE,
    OUTSIDE,
    before_going_on,
    go_questions,
)
from orchestrator.errors import CallError
from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import Sequence as Steps
from orchestrator.ledger.lock import Held, hold
from orchestrator.ledger.store import SqliteLedger
from orchestrator.planning.digest import digest
from orchestrator.planning.result import DryRun
from orchestrator.running.events import Agreed, Answered, Asked, Event
from orchestrator.running.gate import Words
from orchestrator.running.pace import phase_lengths
from orchestrator.running.protocols import Person, Reporter
from orchestrator.running.record import RunRecord
from orchestrator.running.run import Run
from orchestrator.running.terms import Terms
from orchestrator.running.view import terms_now

ReporterFor = Callable[[RunRecord, Sequence[Event]], Reporter]
"""Makes the reporter of a run, from its record and the events stored so far."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attendance:
    """Who attends a run: the person who answers, who is told, and where copies go.

    ``keep_copy`` is a folder, best on another disk: the states of before and the notes are kept
    there too. ``tell`` is told what a person has to know at once, as a paragraph.
    """

    person: Person
    reporter_for: ReporterFor
    keep_copy: Path | None = None
    tell: Callable[[str], None] = lambda _: None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How an action on a run ended. ``run`` is None where a question was answered no-go."""

    run: str | None
    finished: bool = False
    why: str = ""
    notes: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is to be applied: a proved sequence with what was decided about it.

    ``accepts`` says by name who accepted what, why and when, as far as that is known. ``rooms``
    and ``leaves`` say, of an undo, which part of the run it takes back.
    """

    title: str
    sequence: Steps
    found: AsFound
    hazards: tuple[Hazard, ...]
    mended: Mapping[str, tuple[str, ...]]
    undoes: str | None = None
    terms: Terms = field(default_factory=Terms)
    accepts: Mapping[str, str] = field(default_factory=dict)
    rooms: tuple[str, ...] = ()
    leaves: tuple[str, ...] = ()


def order_of(
    title: str,
    plan: DryRun,
    found: AsFound,
    *,
    undoes: str | None = None,
    terms: Terms | None = None,
    accepts: Mapping[str, str] | None = None,
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
        accepts=accepts or {},
    )


async def apply(desk: Desk, order: Order, attendance: Attendance) -> Ended:
    """Apply ``order``: ask, lock, store, write the notes, then go step by step.

    The whole state of every device to be touched is stored, and the rollback notes are written,
    before the first write. An order without steps (a run taken back of which nothing is left)
    asks nothing and is recorded.

    Raises:
        LedgerError: another run holds the facility, or the ledger can't be written.
        CallError: a run that began, and did not finish, since the survey owns one of the devices.
    """
    with holding(desk, attendance, f"apply: {order.title}") as held:
        asks = BEFORE_THE_FIRST_WRITE if order.sequence.steps else {}
        answers = await _ask(asks, attendance.person)
        if answers and not answers[-1].go:
            return _no(answers[-1])
        with SqliteLedger(desk.folder) as ledger:
            record = record_of(desk, order, ledger)
            told = [*_accepted(order), *_told(answers)]
            return await start(desk, ledger, held, record, attendance, told=told)


async def start(
    desk: Desk,
    ledger: SqliteLedger,
    held: Held,
    record: RunRecord,
    attendance: Attendance,
    *,
    told: Sequence[Event] = (),
) -> Ended:
    """Begin the run ``record``, with the facility's lock ``held``, and drive it.

    ``told`` is what was said and accepted before it began.

    Raises:
        LedgerError: the ledger can't be written.
        CallError: a run that is not finished owns one of the devices.
    """
    refuse_owned(ledger, record.before, besides=record.undoes)
    held.name_run(record.id)
    taken = await take(desk, record)
    record = replace(record, configurations=taken.as_recorded)
    keep_configurations(record.id, taken.configurations, desk.folder, attendance.keep_copy)
    with _keeping(desk, ledger, record, (), attendance) as keeper:
        ledger.begin(record)
        keeper.append(record.id, told, desk.clock.now())
        return await _go(desk, ledger, record, keeper, attendance)


async def resume(desk: Desk, run: str, attendance: Attendance, terms: Terms | None = None) -> Ended:
    """Go on with a run where it stands: what may have landed is read before anything else.

    ``terms`` take the place of those on which it went on so far, from now on, and are stored with
    it. Who is on air, and whether monitors are down, is asked anew: sources are about to come back.

    Raises:
        LedgerError: no such run, or another run holds the facility.
        CallError: the run is over, or a credential of its devices has no secret.
    """
    with (
        holding(desk, attendance, f"resume {run}", run),
        SqliteLedger(desk.folder, create=False) as ledger,
    ):
        record = ledger.record(run)
        line = next(line for line in ledger.runs() if line.id == run)
        if not line.unfinished:
            raise CallError(
                f"run {run} is {line.state}: there is nothing to go on with",
                "'cutsheet runs' lists what is unfinished",
            )
        touched = (desk.plan.devices[name] for name in record.before if name in desk.plan.devices)
        await check_sign_ins(touched, desk.open_adapter)
        agreed = terms or terms_now(record, ledger.events(run))
        window = agreed.window
        asks = {**before_going_on(window, desk.clock.now()), **BEFORE_SOURCES_RETURN}
        if record.rotates is not None:
            asks = {}  # no source is silent for it, and none comes back
        answers = await _ask(asks, attendance.person)
        ledger.append(run, _told(answers), desk.clock.now())
        if answers and not answers[-1].go:
            return _no(answers[-1])
        if terms is not None:
            ledger.append(run, [Agreed(terms)], desk.clock.now())
        if OUTSIDE in asks:
            agreed = replace(agreed, window=None)
        agreed_on = replace(record, terms=agreed)
        with _keeping(desk, ledger, record, ledger.events(run), attendance) as keeper:
            return await _go(desk, ledger, agreed_on, keeper, attendance)


async def _ask(questions: Mapping[str, tuple[str, ...]], person: Person) -> list[Answered]:
    """Ask until all are answered, or one with no."""
    answers: list[Answered] = []
    for question, text in questions.items():
        answers.append(Answered(question, *await person.ask(question, text)))
        if not answers[-1].go:
            break
    return answers


def _no(answer: Answered) -> Ended:
    return Ended(run=None, why=f"{answer.question}: no ({answer.by or 'not answered'})")


def _told(answers: Sequence[Answered]) -> list[Event]:
    """The answers as the ledger keeps them: who said so; it keeps the time itself."""
    return [event for answer in answers for event in (Asked(answer.question), answer)]


def _accepted(order: Order) -> list[Answered]:
    """The hazards that somebody accepted by name, and who did."""
    return [
        Answered(hazard.name, go=True, by=order.accepts.get(hazard.name, hazard.accepted))
        for hazard in order.hazards
        if hazard.grade is Grade.NEEDS_NAME and hazard.accepted is not None
    ]


@contextmanager
def holding(desk: Desk, attendance: Attendance, what: str, run: str = "") -> Iterator[Held]:
    """Hold the facility's lock; if a dead process had left it, that is told first."""
    with hold(desk.folder, what, run) as held:
        if held.took_over is not None:
            attendance.tell(
                f"The facility's lock was left by {held.took_over}, a process that has died "
                "without letting go. It is taken over now."
            )
        yield held


@contextmanager
def _keeping(
    desk: Desk,
    ledger: SqliteLedger,
    record: RunRecord,
    events: Sequence[Event],
    attendance: Attendance,
) -> Iterator[NotesKeeper]:
    """Put states and notes on disk, in every place; what keeps the notes true from then on."""
    copy = attendance.keep_copy
    keep_states(record, desk.folder, copy)
    if copy is not None and same_disk(desk.folder, copy):
        attendance.tell(f"{copy} is on the same disk as the facility: if that fails, both do.")
    with NotesKeeper(record, events, notes_places(desk.folder, record.id, copy), ledger) as keeper:
        yield keeper


async def _go(
    desk: Desk,
    ledger: SqliteLedger,
    record: RunRecord,
    keeper: NotesKeeper,
    attendance: Attendance,
) -> Ended:
    events = ledger.events(record.id)
    reporter = attendance.reporter_for(record, events)
    run = Run(
        record.sequence,
        record.expects,
        events,
        patience=desk.patience,
        found={name: found.state for name, found in record.before.items()},
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
        ledger=keeper,
        clock=desk.clock,
        reporter=reporter,
        person=attendance.person,
        look=looking_round(desk, ledger, record),
        trouble=lambda: keeper.trouble,
    )
    return Ended(run=record.id, finished=run.finished, why=run.paused or "", notes=keeper.paths[0])


def _questions(desk: Desk, record: RunRecord) -> Words:
    window = record.terms.window
    lengths = phase_lengths(record.sequence, desk.patience) if window is not None else ()
    return go_questions(record.sequence, window, lengths)


def refuse_owned(ledger: SqliteLedger, touched: Iterable[str], besides: str | None = None) -> None:
    """Look again for unfinished runs on the devices ``touched``, now that none can begin.

    Raises:
        CallError: there is one, beside the run ``besides``.
    """
    for run, devices in owners(ledger, set(touched), besides).items():
        raise CallError(
            f"run {run} is not finished, and {', '.join(devices)} belong to it until it is",
            f"'cutsheet resume {run}' or 'cutsheet undo {run}' first",
        )


def record_of(desk: Desk, order: Order, ledger: SqliteLedger) -> RunRecord:
    """The record of a run that is to begin now; the ledger does not have it yet."""
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
        lengths=lengths_of(desk, order.sequence),
        known=known,
        absent=absent,
        rooms=order.rooms,
        leaves=order.leaves,
    )
