"""A change: one setting of one device, as found and wanted."""

from dataclasses import dataclass

from orchestrator.facility.quick import quick
from orchestrator.facility.step import StepValue


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One difference between as found and wanted.

    ``setting`` is ``number``, ``label``, ``enabled``, ``listens_to``, ``address``, or the name of
    a device setting.
    """

    device: str
    room: str
    setting: str
    as_found: StepValue
    wanted: StepValue
    source: str | None = None
    destination: str | None = None

    @property
    def subject(self) -> str:
        """The thing that changes: ``device`` or ``device/source``."""
        name = self.source or self.destination
        return f"{self.device}/{name}" if name else self.device
