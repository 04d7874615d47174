"""How many requests each kind of step takes a device, as its description is written.

Before the write its identity and what the step is about are read, and after it once more; each path
is asked for once. A device that takes only whole objects is read once more for the write. A
readdress is read back by its confirm, and read twice before. What only some devices need (a path of
its own for a field, a value to be sent back as it stands) is left out: no fewer requests than these
are made.
"""

from orchestrator.facility.description import Description
from orchestrator.facility.step import StepKind
from orchestrator.running.parts import PARTS
from orchestrator.running.protocols import Part


def requests_of(description: Description) -> dict[StepKind, int]:
    """The least number of requests of each kind of step that the description has a write for."""
    look = {kind: _look(description, parts) for kind, parts in PARTS.items()}
    found = {
        kind: 2 * look[kind] + 1 + rule.whole
        for kind, rule in description.writes.items()
        if isinstance(kind, StepKind) and kind in look
    }
    return {**found, StepKind.CONFIRM: look[StepKind.CONFIRM], StepKind.BY_HAND: 0}


def _look(description: Description, parts: frozenset[Part]) -> int:
    """How many paths a look at ``parts`` asks for, identity included."""
    reads = description.reads
    paths = {reads["identity"].get}
    paths |= {reads[part].get for part in parts if part in reads}
    if Part.SETTINGS in parts:
        paths |= {read.get for read in description.settings.values()}
    return len(paths)
