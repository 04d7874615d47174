"""An audit: what is wrong in the facility as found, and what differs from what is wanted.

The JSON document, ``cutsheet/audit/1``::

    facility, taken_at, clean
    findings[]   name, rule, grade, what, where[], fix, accepted
    changes[]    device, source? or destination?, room, setting, as_found, wanted
    not_found[]  device, at, kind, why
"""

from collections.abc import Sequence

from orchestrator.facility.change import Change
from orchestrator.facility.found import AsFound
from orchestrator.facility.hazard import Hazard
from orchestrator.reports.changes import change_lines
from orchestrator.reports.hazards import hazard_lines
from orchestrator.reports.layout import heading, wrap
from orchestrator.reports.survey import not_found_json, not_found_lines
from orchestrator.reports.values import Json, change_json, hazard_json


def text(as_found: AsFound, findings: Sequence[Hazard], changes: Sequence[Change]) -> str:
    """An audit for people: what could not be looked at and what is at risk first."""
    lines = wrap(f"Audit, {as_found.facility}, as found {as_found.taken_at}.")
    missing = not_found_lines(as_found)
    if missing:
        lines += [*heading("Not found: nothing is known of these"), *missing]
    lines += heading("At risk")
    lines += hazard_lines(findings) or wrap("Nothing wrong was found on what answered.")
    lines += heading("Different from what is wanted")
    lines += change_lines(changes) or wrap("What answered is as wanted.")
    return "\n".join(lines) + "\n"


def as_json(as_found: AsFound, findings: Sequence[Hazard], changes: Sequence[Change]) -> Json:
    """An audit as the document that the module describes.

    ``clean`` is True when there is no finding, no change, and every device was found.
    """
    missing = not_found_json(as_found)
    return {
        "schema": "cutsheet/audit/1",
        "facility": as_found.facility,
        "taken_at": as_found.taken_at,
        "clean": not (findings or changes or missing),
        "findings": [hazard_json(finding) for finding in findings],
        "changes": [change_json(change) for change in changes],
        "not_found": missing,
    }
