"""What a simulated NMOS node shows to whoever reads: each path of its two APIs, and its refusals.

Paths are the same with and without a slash at the end; two slashes are no path.
"""

from typing import Any

from mocks.messages import Problem, Response, answer
from mocks.nmos import params, sdp
from mocks.nmos.habits import Habit
from mocks.nmos.resources import Node

Path = tuple[str, ...]
READING = ("GET", "HEAD", "OPTIONS")
CONNECTION: Path = ("x-nmos", "connection", "v1.1")
BULK: Path = (*CONNECTION, "bulk")
SINGLE: Path = (*CONNECTION, "single")
NODE: Path = ("x-nmos", "node", "v1.3")
KINDS_ALONE: tuple[Path, ...] = (("senders",), ("receivers",))
_NODE_KINDS = ("self", "sources", "flows", "devices", "senders", "receivers")
_WORDS = {
    400: "Bad Request",
    403: "Forbidden",
    404: "Not Found",
    405: "Method Not Allowed",
    409: "Conflict",
    423: "Locked",
    500: "Internal Server Error",
    501: "Not Implemented",
}
_ROOTS: dict[Path, list[str]] = {
    (): ["x-nmos/"],
    ("x-nmos",): ["connection/", "node/"],
    ("x-nmos", "node"): ["v1.3/"],
    NODE: [f"{kind}/" for kind in _NODE_KINDS],
    ("x-nmos", "connection"): ["v1.1/"],
    CONNECTION: ["bulk/", "single/"],
    BULK: ["senders/", "receivers/"],
    SINGLE: ["senders/", "receivers/"],
}


class Refused(Problem):
    """A request that the node won't do, worded as NMOS does."""

    def __init__(self, status: int, debug: str) -> None:
        super().__init__(status, debug)
        self.debug = debug
        body = {"code": status, "error": _WORDS[status], "debug": debug}
        self.response = answer(status, body)


def bare(segments: Path) -> Path:
    """The segments of a path without the slash at its end."""
    return segments[:-1] if segments and not segments[-1] else segments


def at(path: Path, node: Node, addresses: list[str], accept: str = "") -> Any:
    """What stands at a path: a JSON value, or a whole response where it is none.

    ``accept`` is what the client says that it takes (RFC 9110, 12.5.1).

    Raises:
        Refused: nothing does, or what does is not offered.
    """
    if path in _ROOTS:
        return _ROOTS[path]
    if path[:3] == NODE:
        return _node_api(path[3:], node)
    if path[:4] == SINGLE and path[4:5] in KINDS_ALONE:
        return _single(path[4], path[5:], node, addresses, accept)
    raise Refused(404, "no such path")


def slot_of(node: Node, kind: str, own_id: str) -> str:
    """The slot of a sender or receiver by its id.

    Raises:
        Refused: there is none.
    """
    slot = node.slot_of(kind, own_id) if (kind,) in KINDS_ALONE else None
    if slot is None:
        raise Refused(404, f"no {kind.removesuffix('s')} {own_id}")
    return slot


def _node_api(rest: Path, node: Node) -> Any:
    kind, own_id = (*rest, "", "")[:2]
    more = rest[2:]
    if kind not in _NODE_KINDS:
        raise Refused(404, "no such path")
    resources = node.resources(kind)
    if not own_id:
        return resources[0] if kind == "self" else resources
    found = next((one for one in resources if one["id"] == own_id), None)
    if kind == "self" or found is None:
        raise Refused(404, "no such resource")
    if more:
        raise Refused(404, "no such path")
    return found


def _single(kind: str, rest: Path, node: Node, addresses: list[str], accept: str) -> Any:
    if not rest:
        return [f"{one['id']}/" for one in node.resources(kind)]
    slot = slot_of(node, kind, rest[0])
    stream = node.streams[kind][slot]
    files = ["transportfile/"] if kind == "senders" else []
    shown = {
        (): ["constraints/", "staged/", "active/", *files, "transporttype/"],
        ("constraints",): params.constraints(kind, addresses),
        ("staged",): stream.staged,
        ("active",): stream.active,
        ("transporttype",): "urn:x-nmos:transport:rtp",
    }
    if rest[1:] == ("transportfile",) and files:
        return _transport_file(node, slot, accept)
    if rest[1:] not in shown:
        raise Refused(404, "no such path")
    return shown[rest[1:]]


def _transport_file(node: Node, slot: str, accept: str) -> Response:
    stream = node.streams["senders"][slot]
    off = Habit.NO_FILE_WHILE_OFF in node.habits and not stream.active["master_enable"]
    if off or (Habit.UNRESOLVED in node.habits and stream.fresh):
        raise Refused(404, "no transport file now")
    held = stream.active["transport_params"]
    legs = [
        sdp.Leg(leg["source_ip"], leg["destination_ip"], leg["destination_port"], node.mac(number))
        for number, leg in enumerate(held)
    ]
    session = int(node.id_of("senders", slot)[:8], 16)
    version = int(stream.version.partition(":")[0])
    text = sdp.describe(node.labels["senders"][slot], session, version, legs)
    if Habit.FILE_AS_JSON in node.habits and sdp.MEDIA_TYPE not in accept:
        return answer(200, {"session": text.splitlines()})
    return Response(200, (("content-type", sdp.MEDIA_TYPE),), text.encode())
