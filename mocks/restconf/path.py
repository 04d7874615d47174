"""Resource paths of RESTCONF (RFC 8040, section 3.5.3) and the places in a tree that they name.

``/ietf-interfaces:interfaces/interface=eth0/ietf-ip:ipv4``: each segment is a member's name as JSON
has it (RFC 7951), with the keys of a list's entry behind it. A place is gone to from the top of the
tree, so that an edit can put something else there; the tree itself is never changed.
"""

import copy
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

from mocks.restconf.errors import Refused

KEYS = {
    "interface": ("name",),
    "address": ("ip",),
    "neighbor": ("ip",),
    "control-plane-protocol": ("type", "name"),
    "route": ("destination-prefix",),
    "component": ("name",),
}
"""The keys of every list here (RFC 8343, 8344, 8348, 8349)."""

Tree = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Segment:
    """One segment: the member's name as the tree has it, its module, the keys of an entry."""

    name: str
    module: str
    keys: tuple[str, ...] = ()

    @property
    def bare(self) -> str:
        """The name without its module."""
        return self.name.rpartition(":")[2]

    @property
    def wrapped(self) -> str:
        """The name with its module, as it stands at the top of a message (RFC 7951, 4)."""
        return f"{self.module}:{self.bare}"


def parsed(path: str, module: str = "") -> tuple[Segment, ...]:
    """The segments of a path below the datastore, percent-encoded as it came; "": the datastore.

    ``module`` is that of the place from which the path goes, where that is not the datastore.

    Raises:
        Refused: it is no such path.
    """
    found: list[Segment] = []
    for part in path.split("/")[1:]:
        written, equals, keys = part.partition("=")
        name = unquote(written)
        module = name.partition(":")[0] if ":" in name else module
        if not module or not name:
            raise Refused("malformed-message", f"{path!r} is no path of a resource")
        values = tuple(unquote(one) for one in keys.split(",")) if equals else ()
        segment = Segment(name, module, values)
        if len(values) != len(KEYS.get(segment.bare, ())):
            wanted = ", ".join(KEYS.get(segment.bare, ())) or "none"
            raise Refused("invalid-value", f"{name} has other keys: {wanted}", status=400)
        found.append(segment)
    return tuple(found)


def at(tree: Tree, path: tuple[Segment, ...]) -> Any:
    """What stands at a path.

    Raises:
        Refused: 404, nothing does.
    """
    here: Any = tree
    for segment in path:
        here = here.get(segment.name) if isinstance(here, dict) else None
        if segment.keys and isinstance(here, list):
            here = next((one for one in here if _keys(one, segment) == segment.keys), None)
        if here is None:
            raise Refused("invalid-value", f"there is no {segment.name}", status=404)
    return here


def put(tree: Tree, path: tuple[Segment, ...], value: Any) -> Tree:
    """The tree with ``value`` at a path; None: with nothing there.

    Raises:
        Refused: there is nothing above it; or the value's keys are not those of the path.
    """
    result = copy.deepcopy(tree)
    *above, last = path
    parent = at(result, tuple(above))
    if not last.keys:
        if value is None:
            parent.pop(last.name, None)
        else:
            parent[last.name] = value
        return result
    if value is not None and _keys(value, last) != last.keys:
        raise Refused("invalid-value", "an entry's key is not changed by an edit of the entry")
    entries = parent.setdefault(last.name, [])
    place = next((i for i, one in enumerate(entries) if _keys(one, last) == last.keys), None)
    if value is None:
        del entries[place : place + 1 if place is not None else 0]
    elif place is None:
        entries.append(value)
    else:
        entries[place] = value
    return result


def merged(now: Any, more: Any, name: str = "") -> Any:
    """A value with another merged in, as a plain patch does: entries of lists by their keys."""
    if isinstance(now, dict) and isinstance(more, dict):
        joined = {key: merged(now.get(key), value, key) for key, value in more.items()}
        return {**now, **joined}
    keys = KEYS.get(name.rpartition(":")[2])
    if isinstance(now, list) and isinstance(more, list) and keys:
        result = copy.deepcopy(now)
        for entry in more:
            same = [i for i, one in enumerate(result) if all(one[k] == entry.get(k) for k in keys)]
            if same:
                result[same[0]] = merged(result[same[0]], entry)
            else:
                result.append(entry)
        return result
    return copy.deepcopy(more)


def _keys(entry: Any, segment: Segment) -> tuple[str, ...]:
    held = entry if isinstance(entry, dict) else {}
    return tuple(str(held.get(key)) for key in KEYS[segment.bare])
