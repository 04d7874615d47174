"""Taking a room back in the same sitting, once a step in it has failed for good."""

import asyncio
from collections.abc import Mapping
from dataclasses import replace

from orchestrator.actions.apply import Attendance, Ended, apply
from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice
from orchestrator.actions.undo import order_back, undo
from orchestrator.cli.accepting import ask_about_hazards
from orchestrator.cli.planned import dry_run_text
from orchestrator.cli.show import show
from orchestrator.ledger.store import SqliteLedger
from orchestrator.reports.hazards import hazard_lines
from orchestrator.running.record import RunRecord
from orchestrator.running.terms import AfterFailure, Terms
from orchestrator.running.view import failures, terms_now


def take_rooms_back(
    desk: Desk,
    ended: Ended,
    attendance: Attendance,
    accepted: Mapping[str, str],
    *,
    terms: Terms | None = None,
    json: bool = False,
) -> None:
    """Take back the rooms in which ``ended`` failed, if its terms say so.

    It is planned and proved like any undo, shown, and asked about like any change. Where it can't
    be done, that is said, and the run stays paused.
    """
    if ended.run is None or ended.finished:
        return
    record, rooms, own = _failed_rooms(desk, ended.run)
    agreed = terms or own
    if agreed.after_failure is not AfterFailure.TAKE_ROOM_BACK or not rooms:
        return
    attendance.tell(f"Taking back {' and '.join(rooms)}, as the terms of the run say.")
    back = asyncio.run(undo(desk, record.id, rooms))
    for line in back.stays:
        attendance.tell(f"Stays as it is: {line}.")
    choice = Choice(
        accepted=accepted, terms=replace(agreed, after_failure=AfterFailure.HOLD_ROOM, window=None)
    )
    plan, choice = ask_about_hazards(back.plan_with, choice, asks=not json)
    if plan.stopped:
        attendance.tell("It can't be taken back like that; the run stays paused.")
        for line in hazard_lines(plan.hazards):
            attendance.tell(line)
        return
    if not plan.sequence.steps:
        attendance.tell("Nothing that the run wrote there is left to take back.")
        return
    if not json:
        show(dry_run_text(desk, plan, choice.terms))
    order = order_back(back, plan, choice.terms, choice.accepted)
    asyncio.run(apply(desk, order, attendance))


def _failed_rooms(desk: Desk, run: str) -> tuple[RunRecord, tuple[str, ...], Terms]:
    """A run, the rooms in which it failed, and the terms on which it goes on."""
    with SqliteLedger(desk.folder, create=False) as ledger:
        record, events = ledger.record(run), ledger.events(run)
    failed = failures(events)
    devices = {step.device for step in record.sequence.steps if step.id in failed}
    rooms = tuple(dict.fromkeys(sorted(desk.rooms[name] for name in devices)))
    return record, rooms, terms_now(record, events)
