"""The commands about credentials: add, list, test, forget."""

import asyncio
import sys
from typing import Annotated

import typer

from orchestrator.actions.sign_in_test import devices_of, test_sign_in
from orchestrator.cli.options import (
    ConnectFileOption,
    ConnectOption,
    FacilityOption,
    desk_at,
)
from orchestrator.cli.show import end, show
from orchestrator.credentials import Credentials
from orchestrator.errors import EXIT_DEVICE, EXIT_DONE, CallError
from orchestrator.facility.secret import Secret
from orchestrator.reports import clear

app = typer.Typer(
    no_args_is_help=True,
    help="Keep sign-ins in this computer's keyring, by name.",
    rich_markup_mode=None,
)
NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="As the plan names it.")]


@app.command()
def add(
    name: NameArgument,
    user: Annotated[
        str, typer.Option("--user", help="The user name; leave it out for a key or token.")
    ] = "",
) -> None:
    """Keep a sign-in under NAME. The secret is asked for, or read from standard input.

    Exit status: 0 kept, 2 the keyring can't be used.
    """
    if sys.stdin.isatty():
        word = typer.prompt("Secret", hide_input=True, confirmation_prompt=True)
    else:
        word = sys.stdin.readline().rstrip("\r\n")
    if not word:
        raise CallError("the secret is empty", "type it, or send it on standard input")
    Credentials().add(name, Secret(user, word))
    show(f"{name} is kept. 'cutsheet credential test {name}' tries it on its devices.")


@app.command("list")
def list_names() -> None:
    """List the names of what is kept; never a secret.

    Exit status: 0.
    """
    names = Credentials().names()
    show("\n".join(names) if names else "Nothing is kept yet: 'cutsheet credential add NAME'.")


@app.command()
def test(
    name: NameArgument,
    facility: FacilityOption = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
) -> None:
    """Try a sign-in on every device of the plan that uses it; only reading.

    Exit status: 0 all accept it, 4 some do not or do not answer.
    """
    desk = desk_at(facility, None, connect, connect_file)
    Credentials().get(name)
    if not devices_of(desk, name):
        show(f"{name} is kept, and no device of the plan uses it.")
        return
    results = asyncio.run(test_sign_in(desk, name))
    show("\n".join(f"{device}: {said}" for device, said, _ in results))
    uses = devices_of(desk, name)
    show(clear.text([device for device in desk.in_the_clear if device in uses]))
    end(EXIT_DONE if all(good for _, _, good in results) else EXIT_DEVICE)


@app.command()
def forget(name: NameArgument) -> None:
    """Forget a sign-in.

    Exit status: 0 forgotten, 2 there was none.
    """
    Credentials().forget(name)
    show(f"{name} is forgotten.")
