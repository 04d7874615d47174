"""A device's whole configuration as it gives it itself, and what came of putting it back.

It holds more than the plan can speak of, and the tool reads nothing out of it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from orchestrator.facility.description import Json

OK, FAILED = 200, 400
"""NcRestoreValidationStatus (AMWA IS-14): the object is, or would be, put back; or not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Configuration:
    """The configuration of one unit, taken before a run.

    ``parts`` are the data sets by what gave them (a device id of an NMOS node). ``taken_at`` is an
    ISO 8601 time with an offset.
    """

    device: str
    serial: str
    run: str
    taken_at: str
    parts: Mapping[str, Json]


@dataclass(frozen=True, slots=True, kw_only=True)
class PutBack:
    """What the device says of one object: its path, the status, and its own words."""

    path: str
    status: int
    said: tuple[str, ...] = ()

    @property
    def done(self) -> bool:
        """Whether it is, or would be, put back."""
        return self.status == OK
