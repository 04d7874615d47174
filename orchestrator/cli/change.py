"""The commands that change something: apply, resume, undo."""

import asyncio
import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from orchestrator.actions.apply import Attendance, Ended, Order, apply, order_of, resume
from orchestrator.actions.credentials.rotate import resume_rotation, rotated_by, take_back_rotation
from orchestrator.actions.desk import Desk
from orchestrator.actions.driving.waiting import until_open
from orchestrator.actions.propose import Choice, lengths_in, propose
from orchestrator.actions.undo import order_back, undo
from orchestrator.actions.work_order import no_longer_true, order_from
from orchestrator.cli.accepting import accepts_of, ask_about_hazards
from orchestrator.cli.garbage import look_often
from orchestrator.cli.history import last_unfinished, run_document
from orchestrator.cli.options import (
    AcceptOption,
    ConnectFileOption,
    ConnectOption,
    FacilityOption,
    JsonOption,
    PhaseOption,
    PlaybookOption,
    RoomOption,
    WidthOption,
    choice_of,
    desk_at,
)
from orchestrator.cli.person import Keyboard, agreed
from orchestrator.cli.planned import dry_run_document, dry_run_text
from orchestrator.cli.show import end, show, show_json
from orchestrator.cli.taking_back import take_rooms_back
from orchestrator.cli.terms import (
    AfterFailureOption,
    MarginOption,
    SoakOption,
    WindowOption,
    refuse_terms,
    terms_of,
)
from orchestrator.credentials import Credentials
from orchestrator.documents.work_order import read_work_order
from orchestrator.errors import EXIT_DONE, EXIT_FOUND, CallError
from orchestrator.facility.hazard import Hazard
from orchestrator.ledger.lock import refuse_held
from orchestrator.planning.result import DryRun
from orchestrator.reports.hazards import hazard_lines
from orchestrator.reports.layout import wrap
from orchestrator.reports.progress import Progress
from orchestrator.reports.terms import terms_lines
from orchestrator.reports.values import hazard_json
from orchestrator.running.terms import AfterFailure, Terms

YesOption = Annotated[
    bool,
    typer.Option("--yes", help="Agree to the change itself. It answers no question of safety."),
]
KeepCopyOption = Annotated[
    Path | None,
    typer.Option(
        "--keep-copy",
        metavar="DIR",
        help="Keep stored states and rollback notes there too, best on another disk.",
    ),
]
TitleOption = Annotated[str, typer.Option("--title", help="What the run is called.")]


def apply_command(
    work_order: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="A work order. Default: the playbooks, as now."),
    ] = None,
    facility: FacilityOption = None,
    playbook: PlaybookOption = None,
    room: RoomOption = None,
    phase: PhaseOption = None,
    accept: AcceptOption = None,
    title: TitleOption = "Change by playbook",
    width: WidthOption = 16,
    after_failure: AfterFailureOption = None,
    soak: SoakOption = None,
    window: WindowOption = None,
    margin: MarginOption = None,
    keep_copy: KeepCopyOption = None,
    yes: YesOption = False,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Apply the change: survey, prove, ask, then go step by step, with a way back.

    Ctrl-C finishes the steps in hand and pauses the run. Exit status: 0 done, or nothing to
    do; 1 a hazard or a no stopped it, or the run paused.
    """
    desk = desk_at(facility, playbook, connect, connect_file)
    refuse_held(desk.folder)
    terms = terms_of(desk, after_failure, soak, window, margin)
    choice = choice_of(room, phase, accept, width, terms)
    if work_order is not None:
        refuse_terms(work_order, terms)
        order = _from_work_order(desk, work_order, as_json=as_json)
    else:
        order = _from_playbooks(desk, choice, title, as_json=as_json)
    _begin(desk, order, accepts_of(desk, choice), keep_copy, yes=yes, json=as_json)


def _wait(desk: Desk, terms: Terms, *, as_json: bool) -> None:
    say = partial(typer.echo, err=as_json)
    asyncio.run(until_open(terms.window, desk.clock, say))


def _from_playbooks(desk: Desk, choice: Choice, title: str, *, as_json: bool) -> Order:
    _wait(desk, choice.terms, as_json=as_json)
    found = asyncio.run(desk.survey())
    plan, choice = ask_about_hazards(partial(propose, desk, found), choice, asks=not as_json)
    _stop_if_idle(desk, plan, choice.terms, as_json=as_json)
    return order_of(title, plan, found, terms=choice.terms, accepts=accepts_of(desk, choice))


def _stop_if_idle(desk: Desk, plan: DryRun, terms: Terms, *, as_json: bool) -> None:
    """End here where there is nothing to do, or where a hazard forbids it."""
    if plan.stopped or not plan.sequence.steps:
        if as_json:
            show_json(dry_run_document(desk, plan, terms))
        elif plan.stopped:
            show("\n".join(["Nothing was written.", *hazard_lines(plan.hazards)]))
        else:
            show("Everything is as wanted: there is nothing to do, and nothing was written.")
        end(EXIT_FOUND if plan.stopped else EXIT_DONE)
    if not as_json:
        show(dry_run_text(desk, plan, terms))


def nothing_written(why: str, hazards: Sequence[Hazard] = (), *, as_json: bool) -> NoReturn:
    """Say that nothing was written and why, and leave."""
    if as_json:
        found = [hazard_json(hazard) for hazard in hazards]
        show_json({"schema": "cutsheet/nothing-written/1", "why": why, "hazards": found})
    else:
        show("\n".join([*wrap(f"Nothing was written. {why}"), *hazard_lines(hazards)]))
    end(EXIT_FOUND)


def _from_work_order(desk: Desk, path: Path, *, as_json: bool) -> Order:
    order = read_work_order(path)
    _wait(desk, order.terms, as_json=as_json)
    stood = {name: (entry.at,) for name, entry in order.before.items()}
    found = asyncio.run(desk.survey(also=stood))
    untrue = no_longer_true(desk, order, found)
    if untrue:
        nothing_written(f"The work order {path} is no longer true.", untrue, as_json=as_json)
    if not as_json:
        show(f"Work order {order.title}, made {order.made_at}, digest {order.digest}: still true.")
        show("\n".join(terms_lines(order.terms, lengths_in(order.terms, desk, order.sequence))))
    return order_from(order, found)


def _begin(
    desk: Desk,
    order: Order,
    accepted: dict[str, str],
    keep_copy: Path | None,
    *,
    yes: bool,
    json: bool,
) -> None:
    devices = len({step.device for step in order.sequence.steps})
    if not agreed(f"Do these {len(order.sequence.steps)} steps on {devices} devices?", yes=yes):
        nothing_written("Nobody agreed to the change.", as_json=json)
    attendance = attend({**order.accepts, **accepted}, keep_copy, json=json)
    ended = asyncio.run(apply(desk, order, attendance))
    take_rooms_back(desk, ended, attendance, dict(order.accepts) | accepted, json=json)
    tell_ended(desk, ended, as_json=json)


def attend(accepted: dict[str, str], keep_copy: Path | None, *, json: bool) -> Attendance:
    """Who attends a run from the terminal."""
    look_often()
    stream = sys.stderr if json else sys.stdout
    return Attendance(
        person=Keyboard(accepted, stream),
        reporter_for=lambda record, events: Progress(record, stream, events),
        keep_copy=keep_copy,
        tell=lambda text: print("\n".join(wrap(text)), file=stream, flush=True),
    )


def tell_ended(desk: Desk, ended: Ended, *, as_json: bool) -> NoReturn:
    """Say how a run ended, and leave with its exit status."""
    if ended.run is None:
        nothing_written(ended.why, as_json=as_json)
    if as_json:
        show_json(run_document(desk.folder, ended.run))
    else:
        show(run_document(desk.folder, ended.run, text=True))
    end(EXIT_DONE if ended.finished else EXIT_FOUND)


def resume_command(
    run: Annotated[
        str | None, typer.Argument(metavar="[RUN]", help="Default: the one that is unfinished.")
    ] = None,
    facility: FacilityOption = None,
    accept: AcceptOption = None,
    after_failure: AfterFailureOption = None,
    soak: SoakOption = None,
    window: WindowOption = None,
    margin: MarginOption = None,
    keep_copy: KeepCopyOption = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Go on with a run that paused, or whose process died.

    What may have landed is read before anything is written. Exit status: 0 finished, 1 paused.
    """
    desk = desk_at(facility, None, connect, connect_file)
    chosen = run or last_unfinished(desk.folder)
    accepted = accepts_of(desk, choice_of(None, None, accept))
    attendance = attend(accepted, keep_copy, json=as_json)
    if rotated_by(desk, chosen) is not None:
        ended = asyncio.run(resume_rotation(desk, Credentials(), chosen, attendance))
        tell_ended(desk, ended, as_json=as_json)
    terms = terms_of(desk, after_failure, soak, window, margin)
    ended = asyncio.run(resume(desk, chosen, attendance, terms))
    take_rooms_back(desk, ended, attendance, accepted, terms=terms, json=as_json)
    tell_ended(desk, ended, as_json=as_json)


def _undo_rotation(
    desk: Desk,
    run: str,
    accepted: dict[str, str],
    keep_copy: Path | None,
    *,
    dry: bool,
    yes: bool,
    json: bool,
) -> NoReturn:
    if dry:
        nothing_written(
            "It would give each device that the run reached its old secret again, and forget the "
            "new one.",
            as_json=json,
        )
    if not agreed(f"Give the devices of {run} their old secret again?", yes=yes):
        nothing_written("Nobody agreed to it.", as_json=json)
    attendance = attend(accepted, keep_copy, json=json)
    ended = asyncio.run(take_back_rotation(desk, Credentials(), run, attendance))
    tell_ended(desk, ended, as_json=json)


def undo_command(
    run: Annotated[str, typer.Argument(metavar="RUN", help="As 'cutsheet runs' lists it.")],
    facility: FacilityOption = None,
    phase: PhaseOption = None,
    accept: AcceptOption = None,
    dry: Annotated[
        bool, typer.Option("--dry-run", help="Show it only; nothing is written.")
    ] = False,
    width: WidthOption = 16,
    after_failure: AfterFailureOption = None,
    soak: SoakOption = None,
    window: WindowOption = None,
    margin: MarginOption = None,
    keep_copy: KeepCopyOption = None,
    yes: YesOption = False,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a run back: what it wrote, and only that, planned and proved like any change.

    Faults that the run mended stay mended. Exit status: 0 done, 1 a hazard or a no stopped it,
    or the run paused.
    """
    desk = desk_at(facility, None, connect, connect_file)
    if not dry:
        refuse_held(desk.folder)
    if rotated_by(desk, run) is not None:
        accepted = accepts_of(desk, choice_of(None, None, accept))
        _undo_rotation(desk, run, accepted, keep_copy, dry=dry, yes=yes, json=as_json)
    terms = terms_of(desk, after_failure, soak, window, margin)
    if terms is not None and terms.after_failure is AfterFailure.TAKE_ROOM_BACK:
        raise CallError("an undo is not itself taken back room by room", "hold-room holds it")
    choice = choice_of(None, phase, accept, width, terms)
    _wait(desk, choice.terms, as_json=as_json)
    back = asyncio.run(undo(desk, run))
    if not as_json:
        for line in back.stays:
            show("\n".join(wrap(f"Stays as it is: {line}.", 0, 2)))
    plan, choice = ask_about_hazards(back.plan_with, choice, asks=not as_json and not dry)
    if dry:
        if as_json:
            show_json(dry_run_document(desk, plan, choice.terms))
        else:
            show(dry_run_text(desk, plan, choice.terms))
        end(EXIT_FOUND if plan.changes or plan.stopped else EXIT_DONE)
    accepts = accepts_of(desk, choice)
    if not plan.stopped and not plan.sequence.steps and back.may_close:
        attendance = attend({}, keep_copy, json=as_json)
        attendance.tell(f"Nothing that {run} wrote is left: it counts as taken back.")
        order = order_back(back, plan, choice.terms, accepts)
        tell_ended(desk, asyncio.run(apply(desk, order, attendance)), as_json=as_json)
    _stop_if_idle(desk, plan, choice.terms, as_json=as_json)
    order = order_back(back, plan, choice.terms, accepts)
    _begin(desk, order, accepts, keep_copy, yes=yes, json=as_json)
