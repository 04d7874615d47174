"""The commands about the record at a desk: new, vacant. They send nothing to any device."""

from pathlib import Path
from typing import Annotated

import typer

from orchestrator.actions.desk import read_facility
from orchestrator.cli.options import FacilityOption, JsonOption
from orchestrator.cli.show import end, show, show_json
from orchestrator.documents.beginning import begin
from orchestrator.documents.folder import find_folder
from orchestrator.errors import EXIT_DONE, EXIT_FOUND, CallError
from orchestrator.planning.vacant import own_numbers, places
from orchestrator.reports import vacant as report


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder that is not there yet.")],
    name: Annotated[
        str | None, typer.Option("--name", help="The facility's name. Default: the folder's.")
    ] = None,
) -> None:
    """Begin a facility's folder: a plan, a playbook and a device description to be filled in.

    Every line says what belongs there, and 'cutsheet check' takes it from there. Exit status: 0
    made, 2 something is there already.
    """
    made = begin(folder, name or folder.absolute().name)
    show(
        f"Made in {folder}:\n"
        + "".join(f"  {file}\n" for file in made)
        + "Write your networks, rooms and devices into plan.yaml; then 'cutsheet check'."
    )


def vacant(
    facility: FacilityOption = None,
    hosts: Annotated[
        int,
        typer.Option(
            "--hosts", min=1, help="So many hosts in a row, for a device with more sources."
        ),
    ] = 1,
    network: Annotated[
        str | None, typer.Option("--network", metavar="NAME", help="On this network alone.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Show which addresses, blocks and numbers nobody has, playbooks counted.

    The record is read, and no device: a run looks before it moves anything to an address. Exit
    status: 0 there are places, 1 there is none.
    """
    documents = read_facility(find_folder(facility or Path.cwd()))
    plan, playbooks = documents.plan, documents.playbooks
    if network is not None and network not in plan.networks:
        raise CallError(
            f"the plan has no network {network}", f"name one of these: {', '.join(plan.networks)}"
        )
    found = tuple(p for p in places(plan, playbooks, hosts) if network in {None, p.network})
    own = tuple(o for o in own_numbers(plan, playbooks) if network in {None, o.network})
    if as_json:
        show_json(report.as_json(plan.facility, found, own))
    else:
        show(report.text(plan.facility, found, own, hosts))
    end(EXIT_DONE if found else EXIT_FOUND)
