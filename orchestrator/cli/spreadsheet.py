"""The commands about spreadsheets: the plan as one, and one as a playbook."""

from pathlib import Path
from typing import Annotated

import typer

from orchestrator.cli.options import FacilityOption
from orchestrator.cli.show import show
from orchestrator.documents.files import replace_text
from orchestrator.documents.folder import find_folder, load_checked
from orchestrator.documents.spreadsheet import COLUMNS, playbook_of, rows_of
from orchestrator.documents.table_file import read_table, write_table
from orchestrator.errors import CallError

app = typer.Typer(
    no_args_is_help=True,
    help="The plan as a spreadsheet (.csv or .xlsx), and a spreadsheet of wishes as a playbook.",
)

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="Ends in .csv or .xlsx.")]


@app.command("export")
def export(file: FileArgument, facility: FacilityOption = None) -> None:
    """Write the plan as a table: a row for each device, source and destination.

    Nothing is sent to any device. Exit status: 0 written, 2 the file is there already, 3 a
    document is wrong.
    """
    documents = load_checked(find_folder(facility or Path.cwd()))
    _not_there(file)
    rows = list(rows_of(documents.plan))
    write_table(file, COLUMNS, rows)
    show(f"{len(rows)} rows are in {file}. Change what is to be otherwise; an empty cell says\n"
         "nothing. 'cutsheet spreadsheet import' makes a playbook of it.")  # fmt: skip


@app.command("import")
def import_(
    file: FileArgument,
    facility: FacilityOption = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="PLAYBOOK", help="Write it there. Default: print it."),
    ] = None,
    title: Annotated[
        str | None, typer.Option("--title", help="The playbook's title. Default: the file's name.")
    ] = None,
) -> None:
    """Make a playbook of a table: what it says otherwise than the plan is what is wanted.

    Nothing is sent to any device. Exit status: 0 made, 2 the playbook is there already, 3 the
    table or a document is wrong.
    """
    folder = find_folder(facility or Path.cwd())
    plan = load_checked(folder).plan
    wishes = playbook_of(plan, *read_table(file), str(file))
    text = wishes.text(title or file.stem, file.name)
    if out is None:
        show(text)
        return
    _not_there(out)
    replace_text(out, text)
    beside = out.absolute().parent == folder / "playbooks"
    # What does not fit the rest is told with its place in the playbook.
    load_checked(folder, None if beside else [out])
    show(f"{out} asks something of {len(wishes.devices)} devices. Next: 'cutsheet dry-run'.")


def _not_there(path: Path) -> None:
    if path.exists():
        raise CallError(f"{path} is there already", "name a file that is not there yet")
