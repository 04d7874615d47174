"""A simulated registry: the Query API of AMWA IS-04 v1.3 over all nodes of the world.

Nothing is registered with it: it knows every simulated node whose cable is in, as a registry does
that hears their heartbeats. It gives its lists in pages of at most ten, filters by any attribute,
and offers neither downgrades nor RQL nor subscriptions (501). It sends no streams.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, ClassVar
from urllib.parse import parse_qsl

from mocks.device import Device
from mocks.messages import Request, Response, answer
from mocks.nmos.node import Nmos, opened, port_of
from mocks.nmos.paging import Entry, Instant, instant_of, page
from mocks.nmos.shown import READING, Refused, bare

QUERY = ("x-nmos", "query", "v1.3")
KINDS = ("nodes", "sources", "flows", "devices", "senders", "receivers")
MOST = 10
"""Resources on a page at most; a client that asks for more is told of it, and gets so many."""

_ROOTS: Mapping[tuple[str, ...], list[str]] = {
    (): ["x-nmos/"],
    QUERY[:1]: ["query/"],
    QUERY[:2]: ["v1.3/"],
    QUERY: [f"{kind}/" for kind in (*KINDS, "subscriptions")],
}


class Registry(Device):
    """A simulated registry. It has no streams."""

    make = "nmos-registry"
    listens_by = "group"
    derives_group = False
    signs_in: ClassVar[bool] = False

    def handle(self, request: Request) -> Response:
        """Answer one request; nothing is raised."""
        try:
            response = self._answered(request)
        except Refused as refused:
            response = refused.response
        return opened(request, response)

    def _answered(self, request: Request) -> Response:
        path = bare(request.segments)
        if request.method not in READING:
            raise Refused(501 if path[3:] == ("subscriptions",) else 405, "not done here")
        if path in _ROOTS:
            return answer(200, _ROOTS[path])
        if path[:3] != QUERY:
            raise Refused(404, "no such path")
        kind, own_id, more = (*path[3:], "", "")[0], path[4:5], path[5:]
        if kind == "subscriptions" and not own_id:
            return answer(200, [])
        if kind not in KINDS or more:
            raise Refused(404, "no such path")
        entries = list(self._entries(kind, request))
        if not own_id:
            return _listed(entries, kind, request, self.scheme)
        found = [one.resource for one in entries if one.resource["id"] == own_id[0]]
        if not found:
            raise Refused(404, "no such resource")
        return answer(200, found[0])

    def _entries(self, kind: str, request: Request) -> Iterator[Entry]:
        """Each resource of a kind; no two have one instant."""
        taken: set[Instant] = set()
        own = "self" if kind == "nodes" else kind
        for number, resource in enumerate(self._resources(own, request), 1):
            instant = max(instant_of(resource["version"]), (int(self.tai_at_zero), number))
            while instant in taken:
                instant = instant[0], instant[1] + 1
            taken.add(instant)
            yield Entry(instant, resource)

    def _resources(self, kind: str, request: Request) -> Iterator[dict[str, Any]]:
        for device in self.neighbours():
            if isinstance(device, Nmos):
                yield from device.shown(port_of(request)).resources(kind)


def _listed(entries: list[Entry], kind: str, request: Request, scheme: str) -> Response:
    given = parse_qsl(request.path.partition("?")[2], keep_blank_values=True)
    paging = {name: value for name, value in given if name.startswith("paging.")}
    others = {name: value for name, value in given if name not in paging}
    if any(name.startswith("query.") for name in others):
        raise Refused(501, "only basic queries are done here")
    fitting = [one for one in entries if _fits(one.resource, others)]
    newest = max((one.instant for one in entries), default=(0, 0))
    try:
        limit = min(MOST, int(paging.get("paging.limit", MOST)))
        since, until = (_bound(paging, name) for name in ("paging.since", "paging.until"))
    except ValueError as wrong:
        raise Refused(400, str(wrong)) from wrong
    if limit < 0 or (since and until and since > until):
        raise Refused(400, "nothing can lie there")
    found = page(fitting, newest, limit, since, until)
    url = f"{scheme}://{request.headers.get('host', '')}/{'/'.join(QUERY)}/{kind}/"
    return answer(200, found.resources, found.headers(url, others))


def _bound(paging: Mapping[str, str], name: str) -> Instant | None:
    return instant_of(paging[name]) if name in paging else None


def _fits(resource: dict[str, Any], wanted: Mapping[str, str]) -> bool:
    """Whether each attribute asked for has the value; a dot leads into objects and lists."""
    return all(value in _values(resource, name.split(".")) for name, value in wanted.items())


def _values(held: Any, names: list[str]) -> Iterable[str]:
    if isinstance(held, list):
        return [value for one in held for value in _values(one, names)]
    if not names:
        return [str(held).lower() if isinstance(held, bool) else str(held)]
    inner = held.get(names[0]) if isinstance(held, dict) else None
    return [] if inner is None else _values(inner, names[1:])
