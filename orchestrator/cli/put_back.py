"""The command that puts a device's whole configuration back, as it was before a run."""

import asyncio
import sys
from typing import Annotated

import typer

from orchestrator.actions.kept.configurations import put_back
from orchestrator.cli.history import RunArgument
from orchestrator.cli.options import (
    AcceptOption,
    ConnectFileOption,
    ConnectOption,
    FacilityOption,
    JsonOption,
    desk_at,
    pairs,
)
from orchestrator.cli.person import Keyboard
from orchestrator.cli.show import end, show, show_json
from orchestrator.errors import EXIT_DONE, EXIT_FOUND
from orchestrator.reports import put_back as put_back_report


def put_back_command(
    run: RunArgument,
    device: Annotated[str, typer.Argument(metavar="DEVICE", help="A device of that run.")],
    facility: FacilityOption = None,
    check: Annotated[
        bool, typer.Option("--check", help="Only ask the device what it would do.")
    ] = False,
    accept: AcceptOption = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put back the whole configuration that a device had before a run, where it gave one.

    For a unit that was reset or spoilt; to take a run back, use 'undo'. The device is asked
    first, and a person; all its sources have to be off. Exit status: 0 all of it is, or would
    be, put back; 1 some is not, a source came on, or nobody agreed.
    """
    desk = desk_at(facility, None, connect, connect_file)
    accepted = pairs(accept or (), "--accept", "NAME=REASON")
    person = Keyboard(accepted, sys.stderr if as_json else sys.stdout)
    ended = asyncio.run(put_back(desk, run, device, person, only_try=check))
    if as_json:
        show_json(
            put_back_report.as_json(
                run, device, ended.tried, ended.done, why=ended.why, came_on=ended.came_on
            )
        )
    else:
        show(
            put_back_report.text(
                run, device, ended.tried, ended.done, why=ended.why, came_on=ended.came_on
            )
        )
    told = ended.tried if ended.done is None else ended.done
    well = all(one.done for one in told) and (check or ended.done is not None)
    end(EXIT_DONE if well and not ended.came_on else EXIT_FOUND)
