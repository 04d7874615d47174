"""Tables in files: CSV (RFC 4180) and XLSX (ISO/IEC 29500, by openpyxl), told apart by their names.

Every cell is text, as a person sees it. What a spreadsheet program would take for a formula is
written so that it does not, and read back without that. A file that would unpack to more than
``LARGEST`` bytes is refused before it is opened.
"""

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from orchestrator.documents.files import replace_bytes
from orchestrator.errors import CallError, DocumentError, Problem

LARGEST = 64 * 1024 * 1024
MOST_ROWS = 200_000
KINDS = (".csv", ".xlsx")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")
"""How a cell begins that a spreadsheet program may take for a formula, or for a mark of text."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row under the heading: its line in the file, and its cells by their columns."""

    line: int
    cells: Mapping[str, str]


def kind_of(path: Path) -> str:
    """The kind of table that a file's name says.

    Raises:
        CallError: neither CSV nor XLSX.
    """
    kind = path.suffix.lower()
    if kind not in KINDS:
        raise CallError(f"{path} is neither .csv nor .xlsx", "give it a name that ends in one")
    return kind


def write_table(path: Path, head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a table with a heading, whole or not at all.

    Raises:
        CallError: the file's name says no kind of table, or it can't be written.
    """
    cells = [list(head), *(list(row) for row in rows)]
    replace_bytes(path, _csv(cells) if kind_of(path) == ".csv" else _xlsx(cells))


def _csv(rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text).writerows([_harmless(cell) for cell in row] for row in rows)
    return text.getvalue().encode("utf-8-sig")  # the mark lets spreadsheet programs see UTF-8


def _harmless(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA) else cell


def _xlsx(rows: Sequence[Sequence[str]]) -> bytes:
    from openpyxl import Workbook  # noqa: PLC0415 - half a second, which no other command spends
    from openpyxl.styles import Font  # noqa: PLC0415 - as above

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for place, row in enumerate(rows, 1):
        for column, text in enumerate(row, 1):
            cell = sheet.cell(place, column)
            cell.value = int(text) if text.isdecimal() and text == str(int(text)) else text
            if isinstance(cell.value, str):
                cell.data_type = "s"  # text, whatever it begins with
            cell.font = Font(bold=place == 1)
    sheet.freeze_panes = "A2"
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


def read_table(path: Path) -> tuple[tuple[str, ...], tuple[Row, ...]]:
    """Read a table: its heading, and its rows; rows without a cell are passed over.

    Raises:
        CallError: the file's name says no kind of table, or it can't be read.
        DocumentError: it is no such table.
    """
    kind = kind_of(path)
    try:
        size = path.stat().st_size
        data = path.read_bytes() if size <= LARGEST else b""
    except OSError as error:
        raise CallError(f"can't read {path}: {error.strerror}", "name a file that exists") from None
    if size > LARGEST:
        raise _wrong(path, 0, f"the file has more than {LARGEST} bytes", "split it")
    lines = _csv_lines(path, data) if kind == ".csv" else _xlsx_lines(path, data)
    filled = [(line, cells) for line, cells in lines if any(cells)]
    if not filled:
        raise _wrong(path, 0, "the table is empty", "give it a heading and rows")
    (first, head), *rest = filled
    names = tuple(name.strip().lower() for name in head)
    twice = {name for name in names if name and names.count(name) > 1}
    if twice:
        raise _wrong(path, first, f"two columns are called {min(twice)}", "remove one of them")
    return tuple(name for name in names if name), tuple(
        Row(line, dict(zip(names, cells, strict=False))) for line, cells in rest
    )


def _csv_lines(path: Path, data: bytes) -> Iterator[tuple[int, list[str]]]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _wrong(path, 0, "it is not UTF-8", "save it as CSV UTF-8") from None
    head = text.partition("\n")[0]
    mark = max(",;\t", key=head.count)  # where a comma is the decimal mark, programs write ';'
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    try:
        for cells in reader:
            yield reader.line_num, [_shown(cell) for cell in cells]
    except csv.Error as error:
        raise _wrong(path, reader.line_num, f"no CSV: {error}", "save it as CSV anew") from None


def _shown(cell: str) -> str:
    text = cell.strip()
    return text[1:] if text.startswith("'") and text[1:].startswith(_FORMULA) else text


def _xlsx_lines(path: Path, data: bytes) -> Iterator[tuple[int, list[str]]]:
    from openpyxl import load_workbook  # noqa: PLC0415 - as above

    try:
        if _unpacked(data) > LARGEST:
            rows = None
        else:
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            rows = list(islice(book.worksheets[0].iter_rows(values_only=True), MOST_ROWS + 1))
    except Exception as error:  # noqa: BLE001 - whatever is in it makes the library raise
        what = f"no XLSX: {type(error).__name__}"
        raise _wrong(path, 0, what, "save it as XLSX anew, or as CSV") from None
    if rows is None or len(rows) > MOST_ROWS:
        raise _wrong(path, 0, f"more than {LARGEST} bytes or {MOST_ROWS} rows", "split it")
    for line, cells in enumerate(rows, 1):
        yield line, [_text(cell) for cell in cells]


def _unpacked(data: bytes) -> int:
    """The bytes that a packed file unpacks to, as it says itself; more is never read."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        return sum(entry.file_size for entry in packed.infolist())


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _wrong(path: Path, line: int, what: str, fix: str) -> DocumentError:
    return DocumentError([Problem(str(path), line, 0, what, fix)])
