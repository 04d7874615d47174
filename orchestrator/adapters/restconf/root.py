"""Where a RESTCONF server keeps its API: the link ``restconf`` of its host metadata.

RFC 8040, section 3.1, by RFC 6415: an XRD document (XML), or the same as JSON. What an XML parser
can be made to do by a document from outside, this one does not: a document type, and with it every
entity, is refused.
"""

from urllib.parse import urljoin, urlsplit
from xml.parsers import expat

from orchestrator.adapters.http.json_pointer import Unusable, document
from orchestrator.adapters.http.messages import Response

HOST_META = "/.well-known/host-meta"
ACCEPT = "application/xrd+xml, application/json;q=0.9"
USUAL = "/restconf"
"""Where it is by custom, and in every example of RFC 8040."""

_REL = "restconf"
_XRD = "http://docs.oasis-open.org/ns/xri/xrd-1.0"


def root_in(response: Response, host: str) -> str:
    """The path of the API root, without a slash at its end; the usual one if none is linked.

    ``host`` is the device's own address.

    Raises:
        Unusable: the document makes no sense, or leads to another host.
    """
    kind = response.headers.get("content-type", "")
    href = _json_link(response.body) if "json" in kind else _xrd_link(response.body)
    return USUAL if href is None else _path(href, host)


def _json_link(body: bytes) -> str | None:
    held = document(body)
    links = held.get("links") if isinstance(held, dict) else None
    for link in links if isinstance(links, list) else ():
        if isinstance(link, dict) and link.get("rel") == _REL and isinstance(link.get("href"), str):
            return str(link["href"])
    return None


def _xrd_link(body: bytes) -> str | None:
    found: list[str] = []

    def start(name: str, attributes: dict[str, str]) -> None:
        wanted = name in (f"{_XRD} Link", "Link") and attributes.get("rel") == _REL
        if wanted and "href" in attributes:
            found.append(attributes["href"])

    def refuse(*_: object) -> None:
        raise Unusable("its host metadata has a document type, which is not read")

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = start
    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.Parse(body, True)
    except expat.ExpatError:
        raise Unusable("its host metadata is no XML") from None
    return found[0] if found else None


def _path(href: str, host: str) -> str:
    try:
        parts = urlsplit(urljoin(f"https://{host}/", href.strip()))
        elsewhere = parts.hostname != host or "@" in parts.netloc
    except ValueError:
        elsewhere = True
    if elsewhere:
        raise Unusable("its host metadata leads to another host, where it is not followed")
    return parts.path.rstrip("/")
