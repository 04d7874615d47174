"""A run as the ledger keeps it: what was decided before the first write."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from orchestrator.facility.found import Found, Identity
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import Sequence
from orchestrator.running.terms import Terms


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRecord:
    """One run.

    ``id`` is short and unique in its facility. ``made_at`` is an ISO 8601 time with an offset.
    ``digest`` is the sequence's. ``expects`` says who each device must prove to be. ``before``
    is the whole state of every device to be touched, stored before the first write. ``undoes``
    names the run that this one takes back. ``terms`` are those on which it was agreed to,
    ``lengths`` the seconds that its phases take at the most.
    ``known`` names what an audit found before the run, and ``absent`` the devices that did not
    answer then: neither is held against it later. ``configurations`` names the devices that offer
    their whole configuration, with why it could not be had (None: it is kept with the run).
    Of a run that takes back another, ``rooms`` are those whose part alone it takes back (empty:
    all), and ``leaves`` the devices that it leaves as they are, because they could not be reached.
    """

    id: str
    facility: str
    title: str
    made_at: str
    digest: str
    sequence: Sequence
    expects: Mapping[str, Identity]
    before: Mapping[str, Found]
    hazards: tuple[Hazard, ...] = ()
    mended: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    undoes: str | None = None
    rotates: str | None = None
    terms: Terms = field(default_factory=Terms)
    lengths: tuple[float, ...] = ()
    known: tuple[str, ...] = ()
    absent: tuple[str, ...] = ()
    configurations: Mapping[str, str | None] = field(default_factory=dict)
    rooms: tuple[str, ...] = ()
    leaves: tuple[str, ...] = ()
