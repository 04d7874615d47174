"""The maintenance window: whether what is to come, and its way back, still fit into it.

The rule, for each phase: it may start at a time only if the time, its pessimistic length, the
time to back out of everything done by then, this phase included, and a margin end no later than
the window. (A clock rule of method-of-procedure documents: common practice, no source.)

All arithmetic is between instants, so a change of the clocks in the window changes nothing in it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

MARGIN_S = 900.0
"""Seconds kept free before the window's end unless the user says otherwise. Our own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A maintenance window: ISO 8601 times with offsets, and the zone in which they are told.

    ``zone`` is an IANA name. ``margin_s``: seconds that stay free before ``closes``.
    """

    opens: str
    closes: str
    zone: str
    margin_s: float = MARGIN_S


@dataclass(frozen=True, slots=True)
class Limits:
    """What the window leaves for one phase.

    ``latest_start``: the last instant at which it may start. ``turn_back``: the last instant at
    which taking back all that is done before it still ends in time. ``end_by``: when it must have
    ended, so that it can itself still be taken back in time.
    """

    latest_start: datetime
    turn_back: datetime
    end_by: datetime

    def allow(self, at: datetime) -> bool:
        """Whether the phase may start at the instant ``at``."""
        return at <= self.latest_start


def limits(window: Window, lengths: Sequence[float], phase: int) -> Limits:
    """What ``window`` leaves for ``phase``, if phases take ``lengths`` seconds at the most.

    Each write is taken back by one write, so going back is reckoned to take as long as going.
    """
    last = datetime.fromisoformat(window.closes) - timedelta(seconds=window.margin_s)
    done = sum(lengths[:phase])
    own = lengths[phase]
    end_by = last - timedelta(seconds=done + own)
    return Limits(
        latest_start=end_by - timedelta(seconds=own),
        turn_back=last - timedelta(seconds=done),
        end_by=end_by,
    )
