"""The Node API of a node (AMWA IS-04 v1.3): who it is, and where its streams are managed.

Its lists are unsorted, its names may end in slashes, and nothing in it is believed unread: what
makes no sense raises :class:`~orchestrator.adapters.http.json_pointer.Unusable`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import urljoin, urlsplit

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.facility.description import Json
from orchestrator.facility.found import Identity

NODE_API = "/x-nmos/node/v1.3"
CONNECTION_CONTROL = "urn:x-nmos:control:sr-ctrl/v1.1"
RTP = "urn:x-nmos:transport:rtp"
PRODUCT_TAG = "urn:x-nmos:tag:asset:product/v1.0"
INSTANCE_TAG = "urn:x-nmos:tag:asset:instance-id/v1.0"
HTTP, HTTPS = "http", "https"
PORTS = {HTTP: 80, HTTPS: 443}  # RFC 9110, sections 4.2.1 and 4.2.2


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere on the device: a port (None: the one it was opened at) and a path."""

    path: str
    port: int | None = None

    def at(self, *more: str) -> "Place":
        """A place below this one."""
        return Place("/".join((self.path, *more)), self.port)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stream:
    """A sender or a receiver: its id, its label, where it is managed, its interfaces by leg.

    ``api`` is the Connection API at which it is managed.
    """

    id: str
    label: str
    place: Place
    bindings: tuple[str, ...]
    api: Place


def identity(node: Json) -> Identity:
    """Who the node is: its serial and product, by the tags of BCP-002-02.

    A node without them is known by its id, which it keeps for all time (IS-04), and its label.
    IS-04 tells no firmware.
    """
    tags = _object(node, "the node").get("tags")
    serial, product = _tag(tags, INSTANCE_TAG), _tag(tags, PRODUCT_TAG)
    if serial and product:
        return Identity(serial=serial, model=product)
    return Identity(serial=text_of(node, "id"), model=text_of(node, "label") or "NMOS node")


def own_hosts(node: Json) -> frozenset[str]:
    """The names and addresses under which the node says that it is reached itself."""
    name = _object(node, "the node").get("hostname")
    named = (name,) if isinstance(name, str) and name else ()
    return frozenset(host.lower() for host in (*endpoint_hosts(node), *named))


def endpoint_hosts(node: Json) -> tuple[str, ...]:
    """The hosts of its Node API's endpoints."""
    api = _object(node, "the node").get("api")
    endpoints = api.get("endpoints") if isinstance(api, dict) else None
    entries = endpoints if isinstance(endpoints, list) else []
    hosts = [entry.get("host") for entry in entries if isinstance(entry, dict)]
    return tuple(host for host in hosts if isinstance(host, str) and host)


def interface_names(node: Json) -> tuple[str, ...]:
    """The node's interfaces by name. IS-04 tells no address of them."""
    held = _object(node, "the node").get("interfaces")
    entries = held if isinstance(held, list) else []
    return tuple(text_of(entry, "name") for entry in entries)


def apis_of(
    devices: Json, hosts: frozenset[str], wanted: str = CONNECTION_CONTROL, scheme: str = HTTP
) -> dict[str, Place | None]:
    """Each device's id, and the place of an API of it on one of ``hosts``, if any.

    ``wanted`` is the type of its control; without it, the Connection API v1.1.

    It is taken from the device's controls and never guessed. The node may give several; the
    first that is on the node itself counts, of the ``scheme`` by which the node is spoken to: what
    began over TLS goes on over TLS (BCP-003-01).
    """
    found: dict[str, Place | None] = {}
    for device in _list(devices, "devices"):
        controls = device.get("controls")
        places = [
            own_place(text_of(control, "href"), hosts, scheme)
            for control in (controls if isinstance(controls, list) else ())
            if isinstance(control, dict) and _type(control) == wanted
        ]
        first = next((place for place in places if place is not None), None)
        found[text_of(device, "id")] = first and Place(first.path.rstrip("/"), first.port)
    return found


def own_place(href: str, hosts: frozenset[str], scheme: str = HTTP) -> Place | None:
    """The place that a URL names on the node itself; None where it leads anywhere else."""
    try:
        parts = urlsplit(href)
        host, port = (parts.hostname or "").lower(), parts.port
    except ValueError:
        return None
    if parts.scheme != scheme or host not in hosts or "@" in parts.netloc:
        return None
    query = f"?{parts.query}" if parts.query else ""
    return Place(parts.path + query, port or PORTS[scheme])


def moved_to(url: str, location: str, hosts: frozenset[str]) -> Place | None:
    """The place on the node itself to which a ``Location`` seen at ``url`` leads; None: elsewhere.

    It may be relative (RFC 9110, 10.2.2).
    """
    try:
        there = urljoin(url, location) if location else ""
    except ValueError:
        return None
    return own_place(there, hosts, urlsplit(url).scheme)


def streams(
    listed: Json, kind: str, apis: Mapping[str, Place | None], own_names: Mapping[str, str]
) -> dict[str, Stream]:
    """The RTP senders or receivers (``kind``) of a node, by their names in the plan.

    ``own_names`` maps the plan's names to labels or ids. A stream that the plan does not name
    stands under its label, or under its id where it has none or shares it.

    Raises:
        Unusable: an entry makes no sense, or can't be managed here.
    """
    entries = [
        entry for entry in _list(listed, kind) if text_of(entry, "transport").startswith(RTP)
    ]
    labels = [text_of(entry, "label") for entry in entries]
    found: dict[str, Stream] = {}
    for entry in entries:
        own, label = text_of(entry, "id"), text_of(entry, "label")
        unique = bool(label) and labels.count(label) == 1
        api = _managed(entry, kind, apis)
        name = _planned_name(own, label if unique else None, own_names)
        if name in found:
            raise Unusable(f"two of its {kind} go by the name '{name}'")
        found[name] = Stream(
            id=own,
            label=label,
            place=api.at("single", kind, own),
            api=api,
            bindings=tuple(_texts(entry, "interface_bindings")),
        )
    return found


def _managed(entry: Mapping[str, Json], kind: str, apis: Mapping[str, Place | None]) -> Place:
    api = apis.get(text_of(entry, "device_id"))
    if api is None:
        raise Unusable(
            f"the device of its {kind.removesuffix('s')} '{text_of(entry, 'label')}' names no "
            f"{CONNECTION_CONTROL} on this node, by the scheme by which it is spoken to"
        )
    own = text_of(entry, "id")
    if not own.replace("-", "").isalnum() or not own.isascii():
        raise Unusable("an id among its streams is no UUID")
    return api


def _planned_name(own: str, label: str | None, own_names: Mapping[str, str]) -> str:
    for planned, written in own_names.items():
        if written in {own, label}:
            return planned
    return label or own


def _tag(tags: Json, name: str) -> str:
    """The one value of a tag (BCP-002-02 wants just one); empty if there is none."""
    held = tags.get(name) if isinstance(tags, dict) else None
    one = held[0] if isinstance(held, list) and len(held) == 1 else ""
    return one.strip() if isinstance(one, str) else ""


def _type(control: Mapping[str, Json]) -> str:
    held = control.get("type")
    return held.rstrip("/") if isinstance(held, str) else ""


def _object(value: Json, what: str) -> dict[str, Json]:
    if not isinstance(value, dict):
        raise Unusable(f"{what} is no object")
    return value


def _list(value: Json, what: str) -> list[dict[str, Json]]:
    if not isinstance(value, list):
        raise Unusable(f"its {what} are no list")
    return [_object(entry, f"one of its {what}") for entry in value]


def text_of(value: Json, member: str) -> str:
    """A text that has to be there.

    Raises:
        Unusable: it is not.
    """
    held = _object(value, "an entry").get(member)
    if not isinstance(held, str):
        raise Unusable(f"an entry has no '{member}'")
    return held


def _texts(value: Mapping[str, Json], member: str) -> Iterable[str]:
    held = value.get(member)
    return (one for one in held if isinstance(one, str)) if isinstance(held, list) else ()
