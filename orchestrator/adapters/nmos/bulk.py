"""Several streams in one request: ``/bulk/senders`` and ``/bulk/receivers`` (AMWA IS-05 v1.1).

Such a request is not atomic: it is answered 200 whatever became of its parts, with a status for
each. A part is judged by its own status as if it had been sent alone; of one that the answer does
not name nobody knows. No id may stand in it twice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from orchestrator.adapters.http import answers
from orchestrator.adapters.http.json_pointer import Unusable, document
from orchestrator.adapters.http.messages import Party, Request, Response
from orchestrator.adapters.nmos.node import Place
from orchestrator.adapters.nmos.stage import Body
from orchestrator.errors import DeviceError, OutcomeUnknown
from orchestrator.facility.description import Json

MOST = 64
"""Parts of one request. The standard sets no bound; a node works through them one by one."""

NOT_OFFERED = frozenset({404, 405, 501})
"""Answers to the whole request that say that nobody takes it, so that nothing was done."""


@dataclass(frozen=True, slots=True)
class Part:
    """One stream's share: the step that asks for it, in words too, the stream's id, its body."""

    step: str
    doing: str
    id: str
    body: Body


def offered(listing: Json, kind: str) -> bool:
    """Whether what stands at ``/bulk`` names the ``kind`` of streams."""
    entries = listing if isinstance(listing, list) else []
    return kind in {entry.rstrip("/") for entry in entries if isinstance(entry, str)}


def request(place: Place, parts: Sequence[Part], doing: str) -> Request:
    """The one request of several parts."""
    return Request(
        method="POST",
        path=place.path,
        port=place.port,
        doing=doing,
        body=[{"id": part.id, "params": part.body} for part in parts],
    )


def refused(response: Response, parts: Sequence[Part], party: Party) -> dict[str, DeviceError]:
    """The error of each part that was not taken, by its step's id; what quotes is not clean yet.

    Raises:
        OutcomeUnknown: the answer says nothing of any part.
    """
    said = _said(response, party)
    found: dict[str, DeviceError] = {}
    for part in parts:
        error = _error(part, said.get(part.id.lower()), party)
        if error is not None:
            found[part.step] = error
    return found


def _said(response: Response, party: Party) -> dict[str, Mapping[str, Json]]:
    """What is said of each id; nothing of one that stands there twice."""
    try:
        held = document(response.body)
    except Unusable:
        held = None
    if not isinstance(held, list):
        said = "a bulk request was answered, and its answer is no list"
        raise OutcomeUnknown(party.device, party.address, "reading what became of it", said)
    found: dict[str, Mapping[str, Json]] = {}
    for entry in held:
        own = entry.get("id") if isinstance(entry, dict) else None
        if isinstance(own, str):
            found[own.lower()] = {} if own.lower() in found else entry
    return found


def _error(part: Part, entry: Mapping[str, Json] | None, party: Party) -> DeviceError | None:
    code = entry.get("code") if entry is not None else None
    if entry is None or not isinstance(code, int) or isinstance(code, bool):
        said = "the answer to the bulk request does not say what became of it"
        return OutcomeUnknown(party.device, party.address, part.doing, said)
    alone = Request(method="PATCH", path="/", doing=part.doing)
    return answers.judge(alone, answers.of_part(code, entry), party, _as_it_is)


def _as_it_is(text: str) -> str:
    """Words are cleaned where the talk ends (``conversation.play``)."""
    return text
