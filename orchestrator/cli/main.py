"""The command ``cutsheet``: every command, and the one place where errors become exits."""

import os
import sys
from typing import Annotated

import typer

from orchestrator import __version__
from orchestrator.cli import (
    bench,
    certificates,
    change,
    find,
    history,
    look,
    put_back,
    record,
    rehearse,
    secrets,
    spreadsheet,
)
from orchestrator.cli.garbage import look_seldom
from orchestrator.cli.show import show_error
from orchestrator.errors import EXIT_CALL, EXIT_FOUND, CutsheetError

INTERRUPTED = 130
"""What typer makes of Ctrl-C: 128 and the signal's number, as shells tell it."""

app = typer.Typer(
    name="cutsheet",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help=(
        "Number, move and put studio audio devices on air without taking anything else off it.\n\n"
        "Work from a folder with a plan.yaml. The usual way: check, survey, dry-run, apply; "
        "then audit and adopt, or undo.\n\n"
        "Exit status: 0 done; 1 found something; 2 the call was wrong; 3 a document was wrong; "
        "4 a device or the network failed."
    ),
)
app.command("new")(record.new)
app.command("check")(look.check)
app.command("survey")(look.survey)
app.command("find")(find.find)
app.command("dry-run")(look.dry_run)
app.command("rehearse")(rehearse.rehearse_command)
app.command("explain")(look.explain_command)
app.command("apply")(change.apply_command)
app.command("resume")(change.resume_command)
app.command("undo")(change.undo_command)
app.command("bench")(bench.bench_command)
app.command("runs")(history.runs)
app.command("put-back")(put_back.put_back_command)
app.command("rollback-notes")(history.notes)
app.command("audit")(look.audit)
app.command("adopt")(history.adopt_command)
app.add_typer(secrets.app, name="credential")
app.add_typer(certificates.app, name="certificate")
app.command("vacant")(record.vacant)
app.add_typer(spreadsheet.app, name="spreadsheet")
app.command("schema")(look.schema)


def _version(wanted: bool) -> None:  # noqa: FBT001 - typer calls it so
    if wanted:
        typer.echo(f"cutsheet {__version__}")
        raise typer.Exit


@app.callback()
def options(
    _version_wanted: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    """Options of the command itself."""


def run(arguments: list[str] | None = None) -> None:
    """Run the command and leave with its exit status. No traceback reaches the user."""
    given = sys.argv[1:] if arguments is None else arguments
    look_seldom()
    try:
        app(args=given, prog_name="cutsheet")
    except CutsheetError as error:
        show_error(error, as_json="--json" in given)
        sys.exit(error.exit_status)
    except SystemExit as leaving:
        if leaving.code != INTERRUPTED:
            raise
        typer.echo("Stopped by Ctrl-C; nothing more is written.", err=True)
        sys.exit(EXIT_FOUND)
    except BrokenPipeError:
        # Whoever read the output has gone: leave quietly, and keep Python from trying again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(EXIT_CALL)
    except Exception as error:
        if os.environ.get("CUTSHEET_RAISE"):
            raise
        typer.echo(f"a fault of the tool itself: {type(error).__name__}: {error}", err=True)
        typer.echo(
            "    fix: run it again with CUTSHEET_RAISE=1 in the environment, and report what it "
            "prints; 'cutsheet runs' says where a run stands",
            err=True,
        )
        sys.exit(EXIT_CALL)


if __name__ == "__main__":
    run()
