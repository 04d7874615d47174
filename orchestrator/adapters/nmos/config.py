"""The Configuration API of a node (AMWA IS-14 v1.0): its whole configuration, had and put back.

A restore modifies and never rebuilds. It is not atomic: each object has a status of its own, and
those that pass are applied whatever becomes of the others. To validate is to ask the same with
PATCH, and changes nothing. A refusal has one of two shapes, and the status inside counts.
"""

from collections.abc import Iterator, Mapping

from orchestrator.adapters.http.json_pointer import Unusable, document
from orchestrator.adapters.http.messages import Exchange, Party, Request, Response
from orchestrator.adapters.nmos.node import Place
from orchestrator.errors import Broken, Rejected
from orchestrator.facility.configuration import PutBack
from orchestrator.facility.description import Json

CONFIGURATION_CONTROL = "urn:x-nmos:control:configuration/v1.0"
_BULK = ("rolePaths", "root", "bulkProperties")
_ALL = "?recurse=true&includeDescriptors=true"
_MODIFY = 0
_FINE = frozenset({200, 298, 299})
"""NcMethodStatus (MS-05-02): done, and done with something deprecated."""


class ConfigurationApi:
    """Talks with the Configuration API at one place of a node."""

    def __init__(self, party: Party, place: Place) -> None:
        self._party = party
        self._place = place.at(*_BULK)

    def backup(self) -> Exchange[Json]:
        """The whole data set, as it is to be given back."""
        what = "asking for its configuration"
        path = f"{self._place.path}{_ALL}"
        response = yield Request(method="GET", path=path, port=self._place.port, doing=what)
        held = self._value(response, what)
        entries = held.get("values") if isinstance(held, dict) else None
        if not isinstance(entries, list) or not entries:
            raise self._broken(what, "its configuration holds no objects")
        return held

    def put_back(self, data_set: Json, *, only_try: bool) -> Exchange[tuple[PutBack, ...]]:
        """Put a data set back, or with ``only_try`` ask what would become of it.

        Raises:
            Rejected: the device refuses the set as a whole.
            Broken: what it answers makes no sense; what was done has to be read.
        """
        what = "asking what it would put back" if only_try else "putting its configuration back"
        response = yield Request(
            method="PATCH" if only_try else "PUT",
            path=self._place.path,
            port=self._place.port,
            doing=what,
            body={"arguments": {"dataSet": data_set, "recurse": True, "restoreMode": _MODIFY}},
        )
        held = self._value(response, what)
        try:
            return tuple(_objects(held))
        except Unusable as why:
            raise self._broken(what, str(why)) from None

    def _value(self, response: Response, what: str) -> Json:
        """The value of a method's result; the status inside may say otherwise than that outside."""
        try:
            held = document(response.body)
        except Unusable as why:
            raise self._broken(what, str(why)) from None
        if not isinstance(held, dict) or not isinstance(held.get("status"), int):
            raise self._broken(what, "its answer has no status")
        status = held["status"]
        if status not in _FINE:
            said = held.get("errorMessage")
            words = f"{status}: {said}" if isinstance(said, str) else str(status)
            raise Rejected(self._party.device, self._party.address, what, words, status)
        return held.get("value")

    def _broken(self, what: str, said: str) -> Broken:
        return Broken(self._party.device, self._party.address, what, said)


def _objects(held: Json) -> Iterator[PutBack]:
    if not isinstance(held, list):
        raise Unusable("it does not say what became of each object")
    for entry in held:
        path = entry.get("path") if isinstance(entry, dict) else None
        status = entry.get("status") if isinstance(entry, dict) else None
        if not isinstance(path, list) or not isinstance(status, int):
            raise Unusable("it says of an object neither which it is nor what became of it")
        yield PutBack(
            path=".".join(part for part in path if isinstance(part, str)),
            status=status,
            said=tuple(_said(entry)),
        )


def _said(entry: Mapping[str, Json]) -> Iterator[str]:
    message = entry.get("statusMessage")
    if isinstance(message, str) and message:
        yield message
    notices = entry.get("notices")
    for notice in notices if isinstance(notices, list) else []:
        if isinstance(notice, dict):
            yield f"{notice.get('name')}: {notice.get('noticeMessage')}"
