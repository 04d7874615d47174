"""The Query API of a registry (AMWA IS-04): which nodes it has heard of.

Pages are walked by the time of creation, from the first on: a node that changes meanwhile keeps its
place, so none is missed. A registry that can't page, or can't tell of older versions, answers 501
to the attempt ("APIs: Query Parameters") and is asked more plainly.
"""

import re
from collections.abc import Iterator
from urllib.parse import urlsplit

from orchestrator.adapters.http.dial import without_sign_in
from orchestrator.adapters.http.json_pointer import Unusable, document
from orchestrator.adapters.http.messages import Exchange, Party, Request, Response
from orchestrator.adapters.nmos import node as node_of
from orchestrator.errors import Broken, CallError
from orchestrator.facility.description import Json
from orchestrator.facility.discovered import HeardOf

QUERY = "/x-nmos/query"
MOST_PAGES = 10_000
_PAGED = "paging.order=create&paging.since=0:0"
_OLDER = "query.downgrade=v1.0"
_ATTEMPTS = (f"?{_PAGED}&{_OLDER}", f"?{_PAGED}", f"?{_OLDER}", "")
_NOT_SO = frozenset({400, 501})
_LINK = re.compile(r"<([^<>]*)>([^<]*)")
_REL = re.compile(r"""\brel\s*=\s*"?([^";,]+)""")
_VERSION = re.compile(r"v1\.([0-9]{1,6})/?")


class QueryApi:
    """Talks with one registry. ``path`` is that of its Query API, with or without a version."""

    def __init__(self, party: Party, path: str = "") -> None:
        self._party = party
        self._path = path.rstrip("/") or QUERY

    def nodes(self) -> Exchange[tuple[HeardOf, ...]]:
        """Every node that it has heard of, by id, in the order in which it tells of them.

        Raises:
            Broken: what it says makes no sense.
        """
        what = "asking which nodes it knows"
        base = yield from self._base(what)
        found: dict[str, HeardOf] = {}
        response = yield from self._first(f"{base}/nodes", what)
        for _ in range(MOST_PAGES):
            page = self._nodes(response, what)
            new = [node for node in page if node.id not in found]
            found.update({node.id: node for node in page})
            path = _next(response)
            if path is None or not new:
                return tuple(found.values())
            response = yield self._asking(self._below(path, base, what), what)
        raise self._broken(what, f"it has no last page within {MOST_PAGES}")

    def _base(self, what: str) -> Exchange[str]:
        """The path of the newest version of major version 1 that it offers."""
        if _VERSION.fullmatch(self._path.rpartition("/")[2]):
            return self._path
        path = self._path if self._path.endswith(QUERY) else f"{self._path}{QUERY}"
        response = yield self._asking(f"{path}/", what)
        try:
            listed = document(response.body)
        except Unusable as why:
            raise self._broken(what, f"GET {path}/: {why}") from None
        names = (
            [name for name in listed if isinstance(name, str)] if isinstance(listed, list) else []
        )
        versions = [int(match[1]) for name in names if (match := _VERSION.fullmatch(name))]
        if not versions:
            raise self._broken(what, f"GET {path}/ names no version of the Query API")
        return f"{path}/v1.{max(versions)}"

    def _first(self, path: str, what: str) -> Exchange[Response]:
        for query in _ATTEMPTS:
            fine = _NOT_SO if query else frozenset[int]()
            response = yield self._asking(f"{path}{query}", what, fine)
            if response.status not in _NOT_SO:
                break
        return response

    def _asking(self, path: str, what: str, also_fine: frozenset[int] = frozenset()) -> Request:
        return Request(method="GET", path=path, doing=what, also_fine=also_fine)

    def _nodes(self, response: Response, what: str) -> list[HeardOf]:
        try:
            listed = document(response.body)
            if not isinstance(listed, list):
                raise Unusable("its nodes are no list")  # noqa: TRY301 - like any other
            return [self._heard_of(node) for node in listed]
        except Unusable as why:
            raise self._broken(what, str(why)) from None

    def _heard_of(self, node: Json) -> HeardOf:
        return heard_of(node, f"the registry at {self._party.address}")

    def _below(self, path: str, base: str, what: str) -> str:
        if not path.startswith(f"{base}/nodes"):
            raise self._broken(what, "its next page is not one of its nodes")
        return path

    def _broken(self, what: str, said: str) -> Broken:
        return Broken(self._party.device, self._party.address, what, said)


def heard_of(node: Json, told_by: str) -> HeardOf:
    """A node by its own resource in the Node or Query API.

    Raises:
        Unusable: it makes no sense.
    """
    return HeardOf(
        id=node_of.text_of(node, "id"),
        identity=node_of.identity(node),
        label=node_of.text_of(node, "label"),
        hosts=tuple(dict.fromkeys(_hosts(node))),
        told_by=told_by,
    )


def _hosts(node: Json) -> Iterator[str]:
    """Where it says that its API answers: its endpoints, else the host of its ``href``."""
    yield from node_of.endpoint_hosts(node)
    try:
        host = urlsplit(node_of.text_of(node, "href")).hostname
    except (Unusable, ValueError):
        host = None
    if host:
        yield host


def _next(response: Response) -> str | None:
    """Path and query of the next page (RFC 8288); None where it does not page.

    Only these are taken: whatever host is named, the registry that was meant is asked.
    """
    for url, rest in _LINK.findall(response.headers.get("link", "")):
        rel = _REL.search(rest)
        if rel and "next" in rel[1].split():
            parts = urlsplit(url)
            return f"{parts.path}?{parts.query}" if parts.query else parts.path
    return None


def party_of(url: str) -> tuple[Party, str, int, str]:
    """A registry by its URL: who it is, its scheme, port and path.

    Raises:
        CallError: it is no such URL.
    """
    fix = "write it as http://HOST:PORT, or with the path of its Query API"
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
    except ValueError as why:
        raise CallError(f"{without_sign_in(url)} is no URL: {why}", fix) from None
    if parts.scheme not in {"http", "https"} or not host or "@" in parts.netloc or parts.query:
        raise CallError(f"{without_sign_in(url)} is no URL of a registry", fix)
    usual = 80 if parts.scheme == "http" else 443
    return Party(device="the registry", address=host), parts.scheme, port or usual, parts.path
