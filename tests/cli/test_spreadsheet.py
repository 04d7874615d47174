"""The commands about spreadsheets."""

from pathlib import Path

import openpyxl
import pytest

from tests.cli.stage import MISKEYED, cutsheet, facility


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_out_changed_and_in_again(tmp_path: Path, kind: str) -> None:
    """A number changed in the table is asked for by the playbook that comes of it."""
    folder = str(facility(tmp_path / "facility", MISKEYED))
    table, book = tmp_path / f"plan.{kind}", tmp_path / "facility" / "playbooks" / "new.yaml"
    done = cutsheet("spreadsheet", "export", str(table), "--facility", folder)
    assert done.status == 0, done.said
    if kind == "csv":
        text = table.read_text(encoding="utf-8-sig")
        table.write_text(text.replace(",mixer,,112,", ",mixer,,114,"), encoding="utf-8")
    else:
        made = openpyxl.load_workbook(table)
        sheet = made.active
        assert sheet is not None
        (cell,) = [row[5] for row in sheet.iter_rows() if row[3].value == "mixer"]
        cell.value = 114
        made.save(table)
    options = ("--facility", folder)
    done = cutsheet("spreadsheet", "import", str(table), "--out", str(book), *options)
    assert done.status == 0, done.said
    assert "mixer: {number: 114}" in book.read_text(encoding="utf-8")
    again = cutsheet("spreadsheet", "import", str(table), "--out", str(book), *options)
    assert again.status == 2
    assert "is there already" in again.said
    assert cutsheet("spreadsheet", "export", str(table), *options).status == 2


def test_a_table_that_does_not_fit(tmp_path: Path) -> None:
    """Its own faults name its line; what collides with the plan is told in the playbook."""
    folder = str(facility(tmp_path / "facility", MISKEYED))
    table = tmp_path / "t.csv"
    table.write_text("device,source,number\nstudio-south-io,mixr,114\n", encoding="utf-8")
    done = cutsheet("spreadsheet", "import", str(table), "--facility", folder)
    assert done.status == 3
    assert "t.csv:2" in done.said
    assert "write mixer" in done.said
    table.write_text("device,source,number\nstudio-south-io,mixer,411\n", encoding="utf-8")
    book = tmp_path / "facility" / "playbooks" / "new.yaml"
    done = cutsheet(
        "spreadsheet", "import", str(table), "--out", str(book), "--facility", folder
    )  # fmt: skip
    assert done.status == 3
    assert "playbooks/new.yaml" in done.said


def test_without_a_place_it_is_printed(tmp_path: Path) -> None:
    """To be read first, or sent on."""
    folder = str(facility(tmp_path / "facility", MISKEYED))
    table = tmp_path / "t.csv"
    table.write_text("device;source;label\nstudio-south-io;mixer;OLD MIXER\n", encoding="utf-8")
    done = cutsheet("spreadsheet", "import", str(table), "--title", "Labels", "--facility", folder)
    assert done.status == 0
    assert 'playbook: "Labels"' in done.out
    assert 'mixer: {label: "OLD MIXER"}' in done.out
