"""What planning comes to: the dry-run as a value."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from orchestrator.facility.change import Change
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.quick import quick
from orchestrator.facility.step import Sequence


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Silence:
    """How long one source, or one destination that listens to it, will be silent, in seconds.

    ``bound_seconds`` is a proved lower bound: no safe order of the same steps is shorter.
    """

    device: str
    seconds: float
    bound_seconds: float
    source: str | None = None
    destination: str | None = None
    on_air: bool = False


@dataclass(frozen=True, slots=True)
class Estimate:
    """How long the whole run takes, in seconds, and a proved lower bound of it."""

    seconds: float
    bound_seconds: float


@dataclass(frozen=True, slots=True)
class Search:
    """How often the search for less silence tried another order.

    ``whole``: it tried as often as it would, or there was nothing left to gain; else it stopped
    early, because there was too much to look at.
    """

    tries: int = 0
    whole: bool = True


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Listeners:
    """Who hears a source that the run silences, and how surely that is known.

    ``sure`` is ``known``, ``partly`` or ``unknown``.
    """

    source: str
    destinations: tuple[str, ...]
    also: tuple[str, ...]
    sure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DryRun:
    """What a run would change, in which order, at what risk, and how long it would take.

    ``lent`` names what is lent from transit, by who borrows it. ``mended`` names faults already
    there that the run mends (``number 415 on media``: its holders). ``proved`` is True when the
    independent proof found nothing against the sequence.
    """

    facility: str
    changes: tuple[Change, ...]
    sequence: Sequence
    hazards: tuple[Hazard, ...]
    silence: tuple[Silence, ...]
    estimate: Estimate
    listeners: tuple[Listeners, ...] = ()
    lent: Mapping[str, str] = field(default_factory=dict)
    mended: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    proved: bool = False
    search: Search = field(default_factory=Search)

    @property
    def stopped(self) -> bool:
        """Whether a hazard forbids to write anything."""
        return any(hazard.blocks for hazard in self.hazards)
