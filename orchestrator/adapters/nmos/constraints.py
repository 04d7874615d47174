"""What a leg's parameters may be: the ``/constraints`` endpoint of AMWA IS-05 v1.1.

They may change at run time, so they are looked at just before a write. A device judges for itself
in the end; this is to say no before anything is sent.
"""

import re
from collections.abc import Mapping, Sequence

from orchestrator.adapters.http.json_pointer import same, shown
from orchestrator.facility.description import Json

LONGEST_PATTERN = 500
"""Characters of a pattern that is tried; an address's pattern is far shorter."""


def breach(constraints: Json, params: Sequence[Mapping[str, Json]]) -> str | None:
    """Which parameter of which leg is not allowed, as a sentence; None if all are.

    ``constraints`` and ``params`` have one entry a leg. What is not understood forbids nothing.
    """
    held = constraints if isinstance(constraints, list) else []
    for number, (leg, wanted) in enumerate(zip(held, params, strict=False), 1):
        for name, value in wanted.items():
            rule = leg.get(name) if isinstance(leg, dict) else None
            words = _broken(rule, value) if isinstance(rule, dict) else None
            if words is not None:
                return f"its leg {number} does not take {name} {shown(value)}: {words}"
    return None


def _broken(rule: Mapping[str, Json], value: Json) -> str | None:
    allowed = rule.get("enum")
    if isinstance(allowed, list) and not any(same(one, value) for one in allowed):
        return "it takes " + (", ".join(shown(one) for one in allowed[:8]) or "nothing")
    if isinstance(value, int) and not isinstance(value, bool):
        return _out_of_range(rule, value)
    pattern = rule.get("pattern")
    if isinstance(value, str) and isinstance(pattern, str) and not _matches(pattern, value):
        return f"it takes what matches {shown(pattern)}"
    return None


def _out_of_range(rule: Mapping[str, Json], value: int) -> str | None:
    low, high = rule.get("minimum"), rule.get("maximum")
    if isinstance(low, int | float) and value < low:
        return f"it takes {shown(low)} and above"
    if isinstance(high, int | float) and value > high:
        return f"it takes {shown(high)} and below"
    return None


def _matches(pattern: str, value: str) -> bool:
    if len(pattern) > LONGEST_PATTERN:
        return True
    try:
        return re.search(pattern, value) is not None
    except (re.error, OverflowError, RecursionError):
        return True
