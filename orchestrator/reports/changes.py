"""Changes as people read them: one row a change, as found and wanted, grouped by room."""

from collections.abc import Sequence

from orchestrator.facility.change import Change
from orchestrator.reports.layout import table, wrap
from orchestrator.reports.words import change_words


def change_lines(changes: Sequence[Change]) -> list[str]:
    """A table for each room, in the order in which the rooms first come."""
    lines: list[str] = []
    for room in dict.fromkeys(change.room for change in changes):
        rows = [_row(change) for change in changes if change.room == room]
        lines += ["", *wrap(room), *table(("device", "what", "as found", "wanted"), rows)]
    return lines


def _row(change: Change) -> tuple[str, str, str, str]:
    return (change.device, *change_words(change))
