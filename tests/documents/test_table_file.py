"""Tables in CSV and XLSX, against the standard library's reader, openpyxl and RFC 4180."""

import csv
import io
import zipfile
from pathlib import Path

import openpyxl
import pytest

from orchestrator.documents import table_file
from orchestrator.documents.table_file import Row, read_table, write_table
from orchestrator.errors import CallError, DocumentError

HEAD = ("device", "label", "number")
ROWS = [
    ("a", "plain", "311"),
    ("b", 'with "quotes", commas', "0042"),
    ("c", "two\nlines", ""),
    ("d", "=1+2", "-5"),
    ("e", "'already marked", "+1"),
    ("f", "Ö — 日本", "@x"),
]


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_what_is_written_is_read_again(tmp_path: Path, kind: str) -> None:
    """Quotes, line breaks, leading zeros, what looks like a formula, and any letters."""
    path = tmp_path / f"t.{kind}"
    write_table(path, HEAD, ROWS)
    head, rows = read_table(path)
    assert head == HEAD
    assert [tuple(row.cells[name] for name in HEAD) for row in rows] == ROWS


def test_csv_as_the_standard_says(tmp_path: Path) -> None:
    """RFC 4180 section 2: fields with breaks, quotes and commas are quoted, quotes doubled, CRLF.

    Reference: Python's csv reader.
    """
    path = tmp_path / "t.csv"
    write_table(path, HEAD, ROWS)
    text = path.read_bytes().decode("utf-8-sig")
    assert '"with ""quotes"", commas"' in text
    assert text.endswith("\r\n")
    read = list(csv.reader(io.StringIO(text, newline="")))
    assert read[0] == list(HEAD)
    assert read[3] == ["c", "two\nlines", ""]


def test_nothing_is_written_that_a_program_would_calculate(tmp_path: Path) -> None:
    """A label that begins like a formula is text in the file. Reference: openpyxl."""
    path = tmp_path / "t.xlsx"
    write_table(path, HEAD, ROWS)
    sheet = openpyxl.load_workbook(path).active
    assert sheet is not None
    kinds = {cell.value: cell.data_type for row in sheet.iter_rows() for cell in row}
    assert kinds["=1+2"] == "s"
    assert kinds[311] == "n"
    path = tmp_path / "t.csv"
    write_table(path, HEAD, ROWS)
    assert "'=1+2" in path.read_text(encoding="utf-8-sig")


def test_a_sheet_of_somebody_elses_program(tmp_path: Path) -> None:
    """Figures that are floats, switches, empty rows. Reference: made by openpyxl."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["Device ", "Number", "Enabled"], [], ["a", 311.0, True], ["b", None, False]):
        sheet.append(row)
    path = tmp_path / "t.xlsx"
    book.save(path)
    head, rows = read_table(path)
    assert head == ("device", "number", "enabled")
    assert rows == (
        Row(3, {"device": "a", "number": "311", "enabled": "yes"}),
        Row(4, {"device": "b", "number": "", "enabled": "no"}),
    )


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_the_mark_between_cells_is_seen(tmp_path: Path, mark: str) -> None:
    """Where the comma is the decimal mark, programs write a semicolon (common practice)."""
    path = tmp_path / "t.csv"
    path.write_text(f"device{mark}number\na{mark}311\n", encoding="utf-8")
    assert read_table(path)[1] == (Row(2, {"device": "a", "number": "311"}),)


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("t.csv", b"", "empty"),
        ("t.csv", b"\xff\xfe\x00", "not UTF-8"),
        ("t.csv", b'device\n"a\n', "no CSV"),
        ("t.csv", b"device,device\na,b\n", "two columns are called device"),
        ("t.xlsx", b"PK\x03\x04nothing", "no XLSX"),
        ("t.xlsx", b"", "no XLSX"),
    ],
)
def test_what_is_no_table(tmp_path: Path, name: str, data: bytes, said: str) -> None:
    """Refused with what it is, and never a traceback."""
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(DocumentError) as caught:
        read_table(path)
    assert said in caught.value.problems[0].what


def test_a_file_that_would_unpack_to_too_much(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seen in its directory, before anything is unpacked; and one whose XML expands itself."""
    path = tmp_path / "t.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", b"0" * 200_000)
    monkeypatch.setattr(table_file, "LARGEST", 100_000)
    with pytest.raises(DocumentError) as caught:
        read_table(path)
    assert "more than 100000 bytes" in caught.value.problems[0].what


def test_entities_are_not_expanded(tmp_path: Path) -> None:
    """XML that grows by its own entities is refused (by defusedxml, which openpyxl then uses)."""
    path = tmp_path / "t.xlsx"
    write_table(path, HEAD, ROWS)
    bomb = '<!DOCTYPE w [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]>'
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    sheet = parts["xl/worksheets/sheet1.xml"].decode()
    start = sheet.index("?>") + 2 if sheet.startswith("<?xml") else 0
    parts["xl/worksheets/sheet1.xml"] = (sheet[:start] + bomb + sheet[start:]).encode()
    with zipfile.ZipFile(path, "w") as packed:
        for name, part in parts.items():
            packed.writestr(name, part)
    with pytest.raises(DocumentError, match="1 problem"):
        read_table(path)


def test_a_name_that_says_no_kind(tmp_path: Path) -> None:
    """And a file that is not there."""
    with pytest.raises(CallError, match=r"neither \.csv nor \.xlsx"):
        read_table(tmp_path / "t.txt")
    with pytest.raises(CallError, match="can't read"):
        read_table(tmp_path / "t.csv")
