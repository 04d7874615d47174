"""The command that rehearses a change."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice, propose
from orchestrator.actions.rehearse import Wish, rehearse
from orchestrator.actions.work_order import no_longer_true
from orchestrator.cli.change import nothing_written
from orchestrator.cli.look import found_for
from orchestrator.cli.options import (
    AcceptOption,
    AsFoundOption,
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
from orchestrator.cli.show import end, show, show_json
from orchestrator.cli.terms import (
    AfterFailureOption,
    MarginOption,
    SoakOption,
    WindowOption,
    refuse_terms,
    terms_of,
)
from orchestrator.documents.work_order import read_work_order
from orchestrator.errors import EXIT_DONE, EXIT_FOUND, CallError
from orchestrator.facility.found import AsFound
from orchestrator.facility.step import Sequence
from orchestrator.planning.digest import digest
from orchestrator.planning.result import DryRun
from orchestrator.reports import rehearsal as report
from orchestrator.running.rehearsed import TROUBLE_WORDS, Fault, Trouble

_KINDS = "; ".join(f"{trouble}: {words}" for trouble, words in TROUBLE_WORDS.items())


TimesOption = Annotated[
    int, typer.Option("--times", min=1, help="How often, under each sort of trouble.")
]
SeedOption = Annotated[
    int, typer.Option("--seed", help="Of the first; the same seeds, the same rehearsals.")
]
FaultOption = Annotated[
    list[str] | None,
    typer.Option(
        "--fault",
        metavar="DEVICE=KIND",
        help=f"A device with this trouble every time (repeatable). KIND is one of: {_KINDS}.",
    ),
]
FaultsOption = Annotated[
    int | None,
    typer.Option(
        "--faults",
        min=0,
        metavar="N",
        help="Draw N faults by chance each time. Without this and --fault: once with none, then "
        "once more with one each time.",
    ),
]


def rehearse_command(
    work_order: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="A work order. Default: the playbooks, as now."),
    ] = None,
    facility: FacilityOption = None,
    playbook: PlaybookOption = None,
    room: RoomOption = None,
    phase: PhaseOption = None,
    accept: AcceptOption = None,
    as_found: AsFoundOption = None,
    times: TimesOption = 50,
    seed: SeedOption = 1,
    fault: FaultOption = None,
    faults: FaultsOption = None,
    width: WidthOption = 16,
    after_failure: AfterFailureOption = None,
    soak: SoakOption = None,
    window: WindowOption = None,
    margin: MarginOption = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Rehearse the change many times on simulated devices made of the survey.

    Nothing is written to any device; with --as-found nothing is sent at all. Exit status: 0 no
    rule was broken, and every run without faults finished by itself; 1 otherwise.
    """
    desk = desk_at(facility, playbook, connect, connect_file)
    wish = Wish(times=times, seed=seed, faults=_faults(fault or []), drawn=faults)
    terms = terms_of(desk, after_failure, soak, window, margin)
    choice, estimate = choice_of(room, phase, accept, width, terms), None
    if work_order is None:
        found = found_for(desk, as_found)
        plan = propose(desk, found, choice)
        _stop_if_idle(plan, as_json=as_json)
        sequence, estimate = plan.sequence, plan.estimate.seconds
    else:
        refuse_terms(work_order, terms)
        found, sequence, choice = _approved(desk, work_order, as_found, as_json=as_json)
    told = rehearse(desk, found, sequence, choice, wish, told=_count(times))
    what = report.Rehearsed(
        facility=desk.plan.facility,
        steps=len(sequence.steps),
        digest=digest(sequence),
        estimate_s=estimate,
    )
    if as_json:
        show_json(report.as_json(told, what))
    else:
        show(report.text(told, what))
    end(EXIT_DONE if report.clean(told) else EXIT_FOUND)


def _stop_if_idle(plan: DryRun, *, as_json: bool) -> None:
    """End here where a hazard forbids the change, or there is none."""
    if plan.stopped or not plan.proved:
        blocking = [hazard for hazard in plan.hazards if hazard.blocks]
        nothing_written("There is nothing to rehearse yet.", blocking, as_json=as_json)
    if not plan.sequence.steps:
        why = "Everything is as wanted: there is nothing to rehearse."
        if as_json:
            show_json({"schema": "cutsheet/nothing-written/1", "why": why, "hazards": []})
        else:
            show(why)
        end(EXIT_DONE)


def _approved(
    desk: Desk, path: Path, as_found: Path | None, *, as_json: bool
) -> tuple[AsFound, Sequence, Choice]:
    """A work order's sequence, if it is still true of what is found."""
    order = read_work_order(path)
    found = found_for(desk, as_found)
    untrue = no_longer_true(desk, order, found)
    if untrue:
        nothing_written(f"The work order {path} is no longer true.", untrue, as_json=as_json)
    rooms = tuple(room for phase in order.sequence.phases for room in phase.rooms)
    return found, order.sequence, Choice(rooms=rooms, terms=order.terms)


def _faults(given: list[str]) -> tuple[Fault, ...]:
    """Read ``DEVICE=KIND`` options.

    Raises:
        CallError: one is not written so, or there is no such trouble.
    """
    found = []
    for text in given:
        device, _, kind = text.partition("=")
        known = {str(trouble): trouble for trouble in Trouble}
        if not device or kind not in known:
            raise CallError(
                f"--fault {text} is not DEVICE=KIND", f"KIND is one of: {', '.join(known)}"
            )
        found.append(Fault(device, known[kind]))
    return tuple(dict.fromkeys(found))


def _count(times: int) -> Callable[[int], None]:
    """Count on the terminal, if there is one."""
    shown = sys.stderr.isatty()

    def told(number: int) -> None:
        if shown:
            sys.stderr.write(f"\rrehearsed {number} of {times}" + "\r\033[K" * (number == times))
            sys.stderr.flush()

    return told
