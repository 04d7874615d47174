"""Asking a node for what stands at a place, and saying what is wrong with its answers."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from orchestrator.adapters.declared.values import Unwritable
from orchestrator.adapters.http.json_pointer import Unusable, document
from orchestrator.adapters.http.messages import Exchange, Party, Request, Response
from orchestrator.adapters.nmos import node as node_of
from orchestrator.adapters.nmos.node import HTTP, NODE_API, Place
from orchestrator.errors import Broken, Rejected
from orchestrator.facility.description import Json

T = TypeVar("T")
_REDIRECTS = frozenset({301, 302, 307, 308})
_MOST_HOPS = 2
MOVED = 400
"""Statuses from here on are no answer; what is not among those asked for never gets here."""


class Asking:
    """Talks with one node by its paths; ``scheme`` is that by which it is spoken to."""

    def __init__(self, party: Party, scheme: str = HTTP) -> None:
        self._party = party
        self._scheme = scheme

    def _get(
        self, place: Place, what: str, also_fine: frozenset[int] = frozenset()
    ) -> Exchange[Json]:
        """What stands at ``place``; None for a status among ``also_fine``."""
        response = yield from self._fetch(place, what, also_fine)
        if response.status >= MOVED:
            return None
        return self._made(what, lambda: document(response.body), place)

    def _fetch(
        self, place: Place, what: str, also_fine: frozenset[int], accept: str | None = None
    ) -> Exchange[Response]:
        """The answer of ``place``.

        A node may move a path to its form with or without a slash at the end: such a redirect is
        followed while it stays on the node's own address.
        """
        for _ in range(_MOST_HOPS + 1):
            request = Request(
                method="GET",
                path=place.path,
                port=place.port,
                doing=what,
                also_fine=also_fine | _REDIRECTS,
                headers=(("Accept", accept),) if accept else (),
            )
            response = yield request
            if response.status not in _REDIRECTS:
                return response
            place = self._moved(place, response.headers.get("location", ""), what)
        raise Broken(self._party.device, self._party.address, what, "it redirects in circles")

    def _moved(self, place: Place, location: str, what: str) -> Place:
        own = self._party.address
        found = node_of.moved_to(f"{self._scheme}://{own}{place.path}", location, frozenset({own}))
        if found is None:
            raise self._rejected(what, "it points elsewhere, and is not followed there")
        return Place(found.path, found.port if "//" in location else place.port)

    def _made(self, what: str, make: Callable[[], T], place: Place | None = None) -> T:
        with self._reading(what, place or Place(f"{NODE_API}/self")):
            return make()

    def _rejected(self, what: str, why: str) -> Rejected:
        return Rejected(self._party.device, self._party.address, what, why)

    @contextmanager
    def _reading(self, what: str, place: Place) -> Iterator[None]:
        try:
            yield
        except Unusable as why:
            said = f"GET {place.path}: {why}"
            raise Broken(self._party.device, self._party.address, what, said) from None

    @contextmanager
    def _writing(self, what: str) -> Iterator[None]:
        try:
            yield
        except Unwritable as why:
            raise self._rejected(what, str(why)) from None
