"""The commands about certificates: list, confirm, forget."""

import asyncio
import getpass
import sys
from typing import Annotated

import typer

from orchestrator.actions.credentials.certificates import Seen, confirm, forget, look
from orchestrator.cli.options import ConnectFileOption, ConnectOption, FacilityOption, desk_at
from orchestrator.cli.person import YES
from orchestrator.cli.show import end, show
from orchestrator.errors import EXIT_DONE, EXIT_FOUND, CallError
from orchestrator.facility.trust import fingerprint

app = typer.Typer(
    no_args_is_help=True,
    help="Confirm the certificates of devices that the plan has as pinned.",
    rich_markup_mode=None,
)
DeviceArgument = Annotated[str, typer.Argument(metavar="DEVICE", help="As the plan names it.")]


@app.command("confirm")
def confirm_command(
    device: DeviceArgument,
    sha256: Annotated[
        str,
        typer.Option(
            "--sha256", metavar="FINGERPRINT", help="Confirm it if it has just this fingerprint."
        ),
    ] = "",
    facility: FacilityOption = None,
    connect: ConnectOption = None,
    connect_file: ConnectFileOption = None,
) -> None:
    """Look at a device's certificate, and keep it as the one to trust if a person says so.

    Nothing is sent to the device, no sign-in either. Compare the fingerprint with what the unit
    itself shows, or with what came with it; whoever sits between would show another. It is kept
    in certificates.yaml.

    Exit status: 0 kept, or known already; 1 not confirmed; 2 it can't be; 4 nobody answers.
    """
    expected = _expected(sha256)
    desk = desk_at(facility, None, connect, connect_file)
    seen = asyncio.run(look(desk, device))
    show("\n".join(_told(seen)))
    if seen.known:
        show("That is the one confirmed. Nothing is to be done.")
        end(EXIT_DONE)
    if expected:
        if expected != seen.sha256:
            show(f"Not confirmed: --sha256 says {expected}, and that is another.")
            end(EXIT_FOUND)
        by = f"{getpass.getuser()}, by its fingerprint"
    elif _agreed():
        by = getpass.getuser()
    else:
        show("Not confirmed; nothing is kept, and the device is not spoken to.")
        end(EXIT_FOUND)
    confirm(desk, seen, by)
    show(f"Kept: {device} is trusted by this certificate, and by no other.")


def _expected(sha256: str) -> str:
    try:
        return fingerprint(sha256) if sha256 else ""
    except ValueError as error:
        raise CallError(f"--sha256: {error}", "copy it whole, with colons or without") from None


def _told(seen: Seen) -> list[str]:
    unit = f"serial {seen.serial} in the plan" if seen.serial else "no serial in the plan"
    lines = [f"{seen.device} at {seen.at} ({unit}) shows this certificate:"]
    lines += [f"    {line}" for line in seen.says]
    lines.append(f"    SHA-256 {seen.sha256}")
    if seen.before is not None and not seen.known:
        before = seen.before
        lines.append("It is NOT the one that was confirmed before:")
        lines.append(f"    SHA-256 {before.sha256}")
        lines.append(f"    confirmed by {before.confirmed_by} at {before.confirmed_at}")
        if before.serial != seen.serial:
            lines.append(f"    for serial {before.serial or 'unknown'}")
    return lines


def _agreed() -> bool:
    """Whether a person at the terminal says yes. No option answers that."""
    if not sys.stdin.isatty():
        show("Nobody is at the keyboard: --sha256 FINGERPRINT confirms it by its fingerprint.")
        return False
    show("Compare the SHA-256 with what the unit itself shows. Is it the same? Type 'yes': ")
    return sys.stdin.readline().strip().lower() in YES


@app.command("list")
def list_command(facility: FacilityOption = None) -> None:
    """List the certificates that have been confirmed.

    Exit status: 0.
    """
    pins = desk_at(facility).documents.pins
    lines = [
        f"{name}\n    SHA-256 {pin.sha256}\n"
        f"    confirmed by {pin.confirmed_by} at {pin.confirmed_at}"
        for name, pin in sorted(pins.items())
    ]
    show("\n".join(lines) or "None has been confirmed yet: 'cutsheet certificate confirm DEVICE'.")


@app.command("forget")
def forget_command(device: DeviceArgument, facility: FacilityOption = None) -> None:
    """Trust a device's certificate no longer; it has to be confirmed anew.

    Exit status: 0 forgotten, 2 there was none.
    """
    forget(desk_at(facility), device)
    show(f"The certificate of {device} is forgotten.")
