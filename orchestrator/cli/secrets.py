"""The commands about credentials: add, rotate, list, test, forget."""

import asyncio
import sys
from typing import Annotated

import typer

from orchestrator.actions.credentials.rotate import rotate
from orchestrator.actions.credentials.sign_in_test import devices_of, test_sign_in
from orchestrator.cli.change import KeepCopyOption, YesOption, attend, tell_ended
from orchestrator.cli.options import (
    AcceptOption,
    ConnectFileOption,
    ConnectOption,
    FacilityOption,
    JsonOption,
    desk_at,
    pairs,
)
from orchestrator.cli.person import agreed
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
    Credentials().add(name, Secret(user, _typed("Secret")))
    show(f"{name} is kept. 'cutsheet credential test {name}' tries it on its devices.")


def _typed(prompt: str) -> str:
    """A secret, from the keyboard without showing it, or from standard input."""
    if sys.stdin.isatty():
        word = str(typer.prompt(prompt, hide_input=True, confirmation_prompt=True))
    else:
        word = sys.stdin.readline().rstrip("\r\n")
    if not word:
        raise CallError("the secret is empty", "type it, or send it on standard input")
    return word


@app.command("rotate")
def rotate_command(
    name: NameArgument,
    facility: FacilityOption = None,
    without: Annotated[
        list[str] | None,
        typer.Option(
            "--without",
            metavar="DEVICE",
            help="Leave it out: it keeps the old secret, which stays as NAME-old (repeatable).",
        ),
    ] = None,
    keep_copy: KeepCopyOption = None,
    yes: YesOption = False,
    accept: AcceptOption = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
    as_json: JsonOption = False,
) -> None:
    """Give every device that uses a sign-in a new secret, and keep that under NAME.

    The new secret is asked for, or read from standard input. It is in the keyring, beside the old
    one, before the first device is written to, and takes its place when every device has been
    signed in to with it. A change that broke off is finished by the same command, by 'cutsheet
    resume', or taken back by 'cutsheet undo'. No device is tried with a wrong secret more than
    once before it has taken a right one. A device whose secret can't be changed from here is named:
    somebody sets it there, says go (by-hand:STEP), and it is signed in to.

    Exit status: 0 done; 1 nothing was written, or the run paused; 2 it can't be done.
    """
    desk = desk_at(facility, None, connect, connect_file)
    clearly = clear.text([each for each in desk.in_the_clear if each in devices_of(desk, name)])
    if clearly:
        typer.echo(clearly, err=True)
    many = len(devices_of(desk, name)) - len(without or ())
    if many and not agreed(f"Change the secret of {name} on {many} devices?", yes=yes):
        raise CallError("nobody agreed to it; nothing was written", "say --yes beforehand")

    def make_new(old: Secret) -> Secret:
        return Secret(old.user, _typed(f"New secret for {name}"))

    attendance = attend(pairs(accept or (), "--accept", "NAME=REASON"), keep_copy, json=as_json)
    ended = asyncio.run(
        rotate(desk, Credentials(), name, make_new, attendance, without=without or ())
    )
    tell_ended(desk, ended, as_json=as_json)


_CHANGING = "    is being changed: 'cutsheet credential rotate' finishes it"


@app.command("list")
def list_names() -> None:
    """List the names of what is kept; never a secret.

    Exit status: 0.
    """
    held = Credentials()
    names = [f"{name}{_CHANGING if held.changing(name) else ''}" for name in held.names()]
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
