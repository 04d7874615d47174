"""Changes by room, one row each."""

from orchestrator.planning.result import DryRun
from orchestrator.reports.changes import change_lines


def test_one_row_a_change_under_its_room(dry_run: DryRun) -> None:
    """Each room has a table with as found and wanted; each change is in its room's."""
    lines = change_lines(dry_run.changes)
    text = "\n".join(lines)
    assert text.index("studio-south\n") < text.index("rack\n")
    assert text.count("as found") == 2
    assert sum("program-1: number" in line for line in lines) == 1
    listens = next(line for line in lines if "output-1" in line)
    assert text.index("rack\n") < text.index(listens)


def test_values_stand_under_as_found_and_wanted(dry_run: DryRun) -> None:
    """The value found stands under its head, and the wanted one under its own."""
    lines = change_lines(dry_run.changes[1:2])
    head, row = lines[3], lines[5]
    assert row[head.index("as found") :].startswith("127.44.3.31/24")
    assert row[head.index("wanted") :].startswith("127.44.3.32/24")


def test_no_diff_marks(dry_run: DryRun) -> None:
    """No line begins with a mark of a diff."""
    assert not any(
        line.lstrip()[:2] in {"+ ", "~ ", "- "} for line in change_lines(dry_run.changes)
    )
