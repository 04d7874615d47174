"""The plan as a table, and a table as a playbook."""

from pathlib import Path

import pytest

from orchestrator.documents.folder import load_checked
from orchestrator.documents.spreadsheet import COLUMNS, playbook_of, rows_of
from orchestrator.documents.table_file import Row
from orchestrator.errors import DocumentError
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.wanted import Auto
from tests.cli.stage import MISKEYED, facility
from tests.example import example

PLAN = example().plan


def _row(line: int = 2, **cells: str) -> Row:
    return Row(line, {name.replace("_", " "): text for name, text in cells.items()})


def _faults(*rows: Row, head: tuple[str, ...] = COLUMNS) -> list[tuple[int, str, str]]:
    with pytest.raises(DocumentError) as caught:
        playbook_of(PLAN, head, rows, "t.csv")
    return [(one.line, one.what, one.fix) for one in caught.value.problems]


def test_every_device_source_and_destination_has_its_row() -> None:
    """In the plan's order, and nothing of it lost."""
    rows = list(rows_of(PLAN))
    subjects = [(row[0], row[3] or row[4]) for row in rows]
    assert len(set(subjects)) == len(subjects) == len(rows)
    count = sum(1 + len(d.sources) + len(d.destinations) for d in PLAN.devices.values())
    assert len(rows) == count
    assert ("studio-south-io", "studio-south", "", "mixer", "", "112", "S-MIXER", "yes", "") in rows


def test_the_plan_as_it_is_asks_for_nothing() -> None:
    """Exported and read again without a change: an empty playbook."""
    rows = tuple(
        Row(line, dict(zip(COLUMNS, row, strict=True))) for line, row in enumerate(rows_of(PLAN), 2)
    )
    assert playbook_of(PLAN, COLUMNS, rows, "t.csv").devices == {}


def test_what_differs_becomes_a_playbook_that_reads(tmp_path: Path) -> None:
    """Numbers, words, labels that look like something else, switches, pointers, an address."""
    rows = (
        _row(2, device="studio-south-io", source="mixer", number="114", label="0o17", enabled="no"),
        _row(3, device="studio-south-io", source="mic-1", number="411", label="S-MIC-1"),
        _row(4, device="studio-south-io", destination="output-2", listens_to="311"),
        _row(5, device="studio-south-io", destination="output-1", listens_to="nothing"),
        _row(6, device="news-booth-engine", source="program-2", number="unassigned"),
        _row(7, device="rack-codec", address="127.44.3.73"),
        _row(8, device="talks-engine", destination="mic-1", listens_to="talks-io/input-1"),
        _row(9, device="studio-north-engine", source="program-1", number="auto"),
    )
    folder = facility(tmp_path / "facility", MISKEYED)
    text = playbook_of(PLAN, COLUMNS, rows, "t.csv").text('A "new" order: #1', "t.csv")
    path = folder / "playbooks" / "made.yaml"
    path.write_text(text, encoding="utf-8")
    books = {book.file: book for book in load_checked(folder).playbooks}
    book = books["playbooks/made.yaml"]
    assert book.title == 'A "new" order: #1'
    mixer = book.devices["studio-south-io"].sources["mixer"]
    assert (mixer.number, mixer.label, mixer.enabled) == (114, "0o17", False)
    assert "mic-1" not in book.devices["studio-south-io"].sources
    pointed = book.devices["studio-south-io"].destinations
    assert pointed["output-2"].listens_to == ListensTo(number=311)
    assert pointed["output-1"].listens_to == ListensTo()
    assert book.devices["news-booth-engine"].sources["program-2"].number is Auto.UNASSIGNED
    assert list(book.devices["rack-codec"].addresses.values()) == ["127.44.3.73"]
    asked = book.devices["talks-engine"].destinations["mic-1"].listens_to
    assert asked == ListensTo(source=Ref("talks-io", "input-1"))
    assert book.devices["studio-north-engine"].sources["program-1"].number is Auto.AUTO


@pytest.mark.parametrize(
    ("row", "what", "fix"),
    [
        (_row(device="studio-south-oi"), "no device studio-south-oi", "write studio-south-io"),
        (_row(source="mixer"), "no device", "write one of these"),
        (_row(device="talks-engine", room="rack"), "is in talks", "changed in plan.yaml"),
        (
            _row(device="studio-south-io", source="mixr"),
            "no studio-south-io/mixr",
            "write mixer",
        ),
        (
            _row(device="studio-south-io", source="mixer", number="1l2"),
            "1l2 is no channel number",
            "a figure, auto or unassigned",
        ),
        (
            _row(device="studio-south-io", source="mixer", enabled="maybe"),
            "enabled is maybe",
            "yes or no",
        ),
        (_row(device="studio-south-io", address="127.44.3"), "is no address", "192.0.2.31"),
        (
            _row(device="studio-south-io", number="5"),
            "number does not belong to a row of a device",
            "name what it is about",
        ),
        (
            _row(device="studio-south-io", source="mixer", destination="output-1"),
            "a source and a destination in one row",
            "two rows",
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_line_and_the_fix(row: Row, what: str, fix: str) -> None:
    """All of it at once, as in every document."""
    found = _faults(row)
    assert any(line == 2 and what in said and fix in mend for line, said, mend in found), found


def test_rows_twice_and_columns_unknown() -> None:
    """The first line of the two is named; so is the nearest column."""
    row = {"device": "studio-south-io", "source": "mixer"}
    assert "stands in line 2 already" in _faults(Row(2, row), Row(9, row))[0][1]
    found = _faults(head=("devices", "number"))
    assert (1, "there is no column devices", "write device") in found
    assert any("there is no column device" in said for _, said, _ in found)
