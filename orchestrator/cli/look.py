"""The commands that only look: check, survey, dry-run, audit, explain, schema."""

import asyncio
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from orchestrator.actions.desk import Desk, plugged_of, read_facility
from orchestrator.actions.explain import explain
from orchestrator.actions.propose import propose, scene_of
from orchestrator.actions.work_order import work_order_of
from orchestrator.adapters.open import in_the_clear
from orchestrator.cli.accepting import accepts_of
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
from orchestrator.cli.planned import dry_run_document, dry_run_text
from orchestrator.cli.show import end, show, show_json
from orchestrator.cli.terms import (
    AfterFailureOption,
    MarginOption,
    SoakOption,
    WindowOption,
    terms_of,
)
from orchestrator.documents.as_found import read_as_found, write_as_found
from orchestrator.documents.folder import find_folder
from orchestrator.documents.schema import WHATS, json_schema
from orchestrator.documents.work_order import write_work_order
from orchestrator.errors import EXIT_DEVICE, EXIT_DONE, EXIT_FOUND, CallError
from orchestrator.facility.found import AsFound, Found
from orchestrator.planning.aims.changes import changes
from orchestrator.planning.aims.listeners import listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.audit import audit as audit_of
from orchestrator.reports import audit as audit_report
from orchestrator.reports import clear
from orchestrator.reports import survey as survey_report


def check(
    facility: FacilityOption = None,
    playbook: PlaybookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check the plan, the playbooks and the device descriptions against one another.

    Nothing is sent to any device. Exit status: 0 nothing wrong, 3 a document is wrong.
    """
    documents = read_facility(find_folder(facility or Path.cwd()), playbook)
    plan = documents.plan
    asked = {name for each in documents.playbooks for name in each.devices}
    if as_json:
        show_json(
            {
                "schema": "cutsheet/check/1",
                "facility": plan.facility,
                "rooms": len(plan.rooms),
                "devices": len(plan.devices),
                "playbooks": [each.file for each in documents.playbooks],
                "problems": [],
            }
        )
        return
    show(
        f"{plan.facility}: nothing wrong in the documents.\n"
        f"  plan.yaml      {len(plan.rooms)} rooms, {len(plan.devices)} devices\n"
        f"  playbooks      {len(documents.playbooks)}, which ask something of "
        f"{len(asked)} devices\n"
        f"  devices/       {len(documents.descriptions)} device descriptions\n"
        "Next: 'cutsheet survey' asks the devices; 'cutsheet dry-run' plans the change."
    )
    _say_what_is_in_the_clear(in_the_clear(plan, documents.descriptions, plugged_of(documents)))


def _say_what_is_in_the_clear(devices: tuple[str, ...]) -> None:
    if devices:
        show(f"\n{clear.text(devices)}")


def survey(
    facility: FacilityOption = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Save it as an as-found file.")
    ] = None,
    device: Annotated[
        str | None, typer.Option("--device", metavar="NAME", help="Ask this device alone.")
    ] = None,
    trace: Annotated[
        bool,
        typer.Option(
            "--trace",
            help="Show each request and answer, without secrets. Needs --device.",
        ),
    ] = False,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Ask every device what it is now. Nothing is written to any device.

    Exit status: 0 every device was found, 4 some were not.
    """
    if trace and device is None:
        raise CallError("--trace shows one device", "name it with --device NAME")
    tell = partial(typer.echo, err=as_json) if trace else None
    desk = desk_at(facility, None, connect, connect_file, trace=tell)
    found = asyncio.run(desk.survey(only=device))
    if out is not None:
        write_as_found(out, found)
    if as_json:
        show_json(survey_report.as_json(found, desk.rooms))
    else:
        show(survey_report.text(found, desk.rooms))
        clearly = (name for name in desk.in_the_clear if name in found.devices)
        _say_what_is_in_the_clear(tuple(clearly))
    everyone = all(isinstance(entry, Found) for entry in found.devices.values())
    end(EXIT_DONE if everyone else EXIT_DEVICE)


def found_for(desk: Desk, as_found: Path | None) -> AsFound:
    """The survey to plan by: a saved one, or one made now."""
    return read_as_found(as_found) if as_found is not None else asyncio.run(desk.survey())


def dry_run(
    facility: FacilityOption = None,
    playbook: PlaybookOption = None,
    room: RoomOption = None,
    phase: PhaseOption = None,
    accept: AcceptOption = None,
    as_found: AsFoundOption = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write a work order.")
    ] = None,
    title: Annotated[
        str, typer.Option("--title", help="What the work order is called.")
    ] = "Change by playbook",
    width: WidthOption = 16,
    after_failure: AfterFailureOption = None,
    soak: SoakOption = None,
    window: WindowOption = None,
    margin: MarginOption = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what a run would change, in which order, and at what risk.

    Nothing is written to any device. Exit status: 0 everything is as wanted; 1 there are
    changes or hazards.
    """
    desk = desk_at(facility, playbook, connect, connect_file)
    found = found_for(desk, as_found)
    terms = terms_of(desk, after_failure, soak, window, margin)
    choice = choice_of(room, phase, accept, width, terms)
    plan = propose(desk, found, choice)
    if out is not None:
        now = desk.clock.now().isoformat(timespec="minutes")
        accepts = {name: f"{who}, {now}" for name, who in accepts_of(desk, choice).items()}
        order = work_order_of(desk, title, plan, found, choice=choice, accepts=accepts)
        write_work_order(out, order)
    if as_json:
        show_json(dry_run_document(desk, plan, choice.terms))
    else:
        show(dry_run_text(desk, plan, choice.terms))
        if out is not None:
            show(f"The work order is in {out}; 'cutsheet apply {out}' runs just that.")
    end(EXIT_FOUND if plan.changes or plan.stopped else EXIT_DONE)


def audit(
    facility: FacilityOption = None,
    playbook: PlaybookOption = None,
    as_found: AsFoundOption = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Look for what is on that should not be, and what differs from what is wanted.

    Nothing is written to any device. Exit status: 0 clean, 1 something was found.
    """
    desk = desk_at(facility, playbook, connect, connect_file)
    found = found_for(desk, as_found)
    scene = scene_of(desk, found, choice_of(None, None, None))
    findings = audit_of(scene)
    different = changes(scene, listeners(scene, targets(scene).states).states)
    if as_json:
        show_json(audit_report.as_json(found, findings, different))
    else:
        show(audit_report.text(found, findings, different))
    missing = not all(isinstance(entry, Found) for entry in found.devices.values())
    end(EXIT_FOUND if findings or different or missing else EXIT_DONE)


def explain_command(
    subject: Annotated[
        str | None,
        typer.Argument(
            metavar="[SUBJECT]",
            help="A device, device/source, device/destination, or step number. Default: all.",
        ),
    ] = None,
    facility: FacilityOption = None,
    playbook: PlaybookOption = None,
    room: RoomOption = None,
    phase: PhaseOption = None,
    accept: AcceptOption = None,
    as_found: AsFoundOption = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
) -> None:
    """Say in plain words why each step of the dry-run stands where it stands.

    Nothing is written to any device. Exit status: 0 explained, 2 nothing of that name.
    """
    desk = desk_at(facility, playbook, connect, connect_file)
    plan = propose(desk, found_for(desk, as_found), choice_of(room, phase, accept))
    show(explain(plan, subject))


def schema(
    what: Annotated[str, typer.Argument(metavar="plan|playbook|device")],
) -> None:
    """Print the JSON Schema (2020-12) of a document, as editors use it.

    Exit status: 0 printed, 2 no such document.
    """
    if what not in WHATS:
        raise typer.BadParameter("choose plan, playbook or device")
    show_json(json_schema(what))
