"""The options that several commands share, and what they come to."""

from collections.abc import Callable, Iterable
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated

import typer

from orchestrator.actions.desk import Desk, open_desk
from orchestrator.actions.propose import Choice
from orchestrator.cli.connect_map import read_connect_file
from orchestrator.credentials import Credentials
from orchestrator.documents.folder import find_folder
from orchestrator.errors import CallError
from orchestrator.running.terms import Terms

FacilityOption = Annotated[
    Path | None,
    typer.Option(
        "--facility",
        metavar="DIR",
        help="The facility's folder. Default: this one, or the nearest above with a plan.yaml.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document instead.")]
PlaybookOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--playbook",
        metavar="FILE",
        help="Only this playbook (repeatable). Default: all in playbooks/.",
    ),
]
RoomOption = Annotated[
    list[str] | None,
    typer.Option(
        "--room",
        metavar="ROOM",
        help="Change only this room (repeatable). Default: all that the playbooks speak of.",
    ),
]
PhaseOption = Annotated[
    list[str] | None,
    typer.Option(
        "--phase",
        metavar="ROOM[,ROOM]",
        help="The rooms that go together; repeat it for the next phase, in order.",
    ),
]
AcceptOption = Annotated[
    list[str] | None,
    typer.Option(
        "--accept",
        metavar="NAME=REASON",
        help="Accept a hazard, or answer a question of safety with go, by name.",
    ),
]
ConnectOption = Annotated[
    list[str] | None,
    typer.Option(
        "--connect",
        metavar="ADDRESS=HOST:PORT",
        help="Send what is meant for an address elsewhere, such as into a tunnel.",
    ),
]
ConnectFileOption = Annotated[
    Path | None,
    typer.Option("--connect-file", metavar="FILE", help="A file (YAML or JSON) of such addresses."),
]
AsFoundOption = Annotated[
    Path | None,
    typer.Option(
        "--as-found",
        metavar="FILE",
        help="Use a saved survey instead of asking the devices.",
    ),
]
WidthOption = Annotated[
    int,
    typer.Option("--width", min=1, max=512, help="How many devices to speak to at one time."),
]


def desk_at(
    facility: Path | None,
    playbooks: list[Path] | None = None,
    connect: list[str] | None = None,
    connect_file: Path | None = None,
    trace: Callable[[str], None] | None = None,
) -> Desk:
    """Open the desk of the facility that the options name; ``trace`` is told what is said."""
    return open_desk(
        find_folder(facility or Path.cwd()),
        secrets=Credentials().get,
        playbooks=playbooks,
        connect=connections(connect, connect_file),
        trace=trace,
    )


def connections(connect: list[str] | None, connect_file: Path | None) -> dict[str, str]:
    """Where connections go instead, by address.

    Raises:
        CallError: an option or the file is not written right.
    """
    ways = read_connect_file(connect_file) if connect_file is not None else {}
    ways.update(pairs(connect or (), "--connect", "ADDRESS=HOST:PORT"))
    for address in ways:
        _check_address(address)
    return ways


def _check_address(text: str) -> None:
    """Refuse a way from what is no address: no connection would ever take it."""
    try:
        ip_address(text)
    except ValueError:
        raise CallError(
            f"the connect map has a way for {text}, which is no address",
            "write the address at which the device stands in the plan, such as 127.44.3.31",
        ) from None


def choice_of(
    rooms: list[str] | None,
    phases: list[str] | None,
    accept: list[str] | None,
    width: int = 16,
    terms: Terms | None = None,
) -> Choice:
    """What the options choose for a change."""
    return Choice(
        rooms=tuple(rooms or ()),
        phases=tuple(tuple(phase.split(",")) for phase in phases or ()),
        accepted=pairs(accept or (), "--accept", "NAME=REASON"),
        width=width,
        terms=terms or Terms(),
    )


def pairs(given: Iterable[str], option: str, form: str) -> dict[str, str]:
    """Read ``NAME=VALUE`` options.

    Raises:
        CallError: one has no value.
    """
    found: dict[str, str] = {}
    for text in given:
        name, _, value = text.partition("=")
        if not name.strip() or not value.strip():
            raise CallError(f"{option} {text} is not {form}", f"write it as {option} '{form}'")
        found[name.strip()] = value.strip()
    return found
