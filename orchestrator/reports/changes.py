"""Changes as people read them: one row a change, as found and wanted, grouped by room."""

from collections.abc import Sequence

from orchestrator.facility.change import Change
from orchestrator.reports.layout import table, wrap
from orchestrator.reports.words import change_words


def change_lines(changes: Sequence[Change]) -> list[str]:
    """Room by room and device by device, in the order in which they first come."""
    lines: list[str] = []
    for room in dict.fromkeys(change.room for change in changes):
        here = [change for change in changes if change.room == room]
        lines += ["", *wrap(f"Room {room}")]
        for device in dict.fromkeys(change.device for change in here):
            rows = [change_words(change) for change in here if change.device == device]
            lines += [*wrap(device, 2), *table(("what", "as found", "wanted"), rows, 4)]
    return lines
