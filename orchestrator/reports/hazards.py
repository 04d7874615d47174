"""Hazards as people read them: by grade, the gravest first."""

from collections.abc import Sequence

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.reports.layout import item, wrap
from orchestrator.reports.words import GRADES


def hazard_lines(hazards: Sequence[Hazard]) -> list[str]:
    """Hazards grouped by grade, each with its name, rule, what, where, fix and acceptance."""
    lines: list[str] = []
    for grade in Grade:
        graded = [hazard for hazard in hazards if hazard.grade is grade]
        if not graded:
            continue
        lines += ["", *wrap(GRADES[grade])]
        for hazard in sorted(graded, key=lambda hazard: hazard.accepted is not None):
            lines += _hazard(hazard)
    return lines


def _hazard(hazard: Hazard) -> list[str]:
    lines = wrap(f"{hazard.name} ({hazard.rule})", 2, 2)
    lines += wrap(hazard.what, 6)
    if hazard.where:
        lines += item("where:", ", ".join(hazard.where), 6)
    if hazard.fix:
        lines += item("fix:", hazard.fix, 6)
    if hazard.accepted is not None:
        lines += item("accepted:", hazard.accepted or "no reason given", 6)
    return lines
