"""Work orders: an approved sequence in a file, and what must still be true of the devices."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path

from pydantic import TypeAdapter

from orchestrator.documents import json_file
from orchestrator.errors import DocumentError, Problem
from orchestrator.facility.found import Found, Identity
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.plan import ListensTo
from orchestrator.facility.step import Sequence
from orchestrator.planning.digest import digest
from orchestrator.running.terms import Terms

SCHEMA = "cutsheet/work-order/1"
_FIX = "make it anew with 'cutsheet dry-run --out'; a work order is not changed by hand"


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkOrder:
    """A sequence as it was approved.

    ``made_at`` is an ISO 8601 time with an offset. ``digest`` is the sequence's. ``hazards``
    carry what a person accepted. ``expects`` says who each device must prove to be, ``before``
    what was found of each that is to be touched, ``mended`` which faults the run mends. ``rooms``
    are those that were chosen, ``meant`` what destinations are to listen to, by name. ``terms``
    are those on which it was approved. ``accepts`` holds by name what was accepted, by whom, when
    and why, for what a person is asked. ``seal`` tells whether any of it was changed by hand.
    """

    facility: str
    title: str
    made_at: str
    digest: str
    sequence: Sequence
    expects: Mapping[str, Identity]
    before: Mapping[str, Found]
    hazards: tuple[Hazard, ...] = ()
    mended: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    rooms: tuple[str, ...] = ()
    meant: Mapping[str, ListensTo] = field(default_factory=dict)
    terms: Terms = field(default_factory=Terms)
    accepts: Mapping[str, str] = field(default_factory=dict)
    seal: str = ""


_ADAPTER: TypeAdapter[WorkOrder] = TypeAdapter(WorkOrder)


def write_work_order(path: Path, order: WorkOrder) -> None:
    """Write a work order to ``path``, replacing what was there as a whole.

    Raises:
        CallError: the file can't be written.
    """
    json_file.write(path, replace(order, seal=_seal(order)), _ADAPTER, SCHEMA)


def read_work_order(path: Path) -> WorkOrder:
    """Read a work order.

    Raises:
        DocumentError: the file is no work order, or its sequence is not the one approved.
        CallError: there is no such file.
    """
    order = json_file.read(path, _ADAPTER, SCHEMA, _FIX)
    found = digest(order.sequence)
    if found != order.digest:
        what = f"the sequence was changed: its digest is {found}, approved was {order.digest}"
        raise DocumentError([Problem(str(path), 0, 0, what, _FIX)])
    if order.seal != _seal(order):
        what = "something beside the sequence was changed after it was approved"
        raise DocumentError([Problem(str(path), 0, 0, what, _FIX)])
    return order


def _seal(order: WorkOrder) -> str:
    """A digest of the whole order, as the sequence has one: it shows a change made by hand."""
    whole = _ADAPTER.dump_json(replace(order, seal=""))
    return sha256(whole).hexdigest()[:16]
