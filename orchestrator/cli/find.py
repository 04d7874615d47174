"""The command that finds NMOS nodes: by a registry, or by what announces itself."""

import asyncio
from functools import partial
from typing import Annotated

import typer

from orchestrator.actions.find import by_announcement, by_registry
from orchestrator.adapters.nmos.discovery import Asking
from orchestrator.adapters.nmos.dns_sd import USUAL_WAIT_S, browse
from orchestrator.cli.options import (
    ConnectFileOption,
    ConnectOption,
    FacilityOption,
    JsonOption,
    connections,
    desk_at,
)
from orchestrator.cli.show import end, show, show_json
from orchestrator.errors import EXIT_DONE, EXIT_FOUND
from orchestrator.planning.whereabouts import whereabouts
from orchestrator.reports import find as find_report


def find(
    facility: FacilityOption = None,
    registry: Annotated[
        str | None,
        typer.Option(
            "--registry",
            metavar="URL",
            help="Ask this registry (NMOS Query API). Default: listen for announcements (DNS-SD).",
        ),
    ] = None,
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.1, max=600, help="How long to listen.")
    ] = USUAL_WAIT_S,
    interface: Annotated[
        str | None,
        typer.Option(
            "--interface",
            metavar="ADDRESS",
            help="Listen at this address of this computer alone. Default: at all.",
        ),
    ] = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the NMOS nodes that are there, and which of them the plan knows.

    Nothing is written to any device. Exit status: 0 each is where the plan has it; 1 some are
    elsewhere, missing, or not in the plan; 4 the registry can't be asked.
    """
    desk = desk_at(facility, None, connect, connect_file)
    asking = Asking(connect=connections(connect, connect_file), tls=desk.trust.of_others(desk.plan))
    if registry is not None:
        heard = asyncio.run(by_registry(registry, asking))
    else:
        heard = asyncio.run(by_announcement(partial(browse, seconds, interface), asking))
    found = whereabouts(desk.plan, desk.asked, heard.nodes)
    if as_json:
        show_json(find_report.as_json(found, heard.services, heard.no_help))
    else:
        show(find_report.text(found, heard.services, heard.no_help))
    end(EXIT_DONE if found.as_planned and not heard.no_help else EXIT_FOUND)
