"""The entries of an answer: the list or the object of sources, destinations, interfaces."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from orchestrator.adapters.http.json_pointer import Unusable, pick, token
from orchestrator.facility.description import Json, Pick, Read
from orchestrator.facility.quick import quick

ONLY = "main"
"""The key of the one entry where the document itself is the entry."""

T = TypeVar("T")


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry: its name, the device's key for it, its value, and the pointer to it.

    ``elsewhere`` holds the documents in which some of its values stand instead, by their paths.
    """

    name: str
    key: Json
    value: Json
    pointer: str
    elsewhere: Mapping[str, Json] = field(default_factory=dict)

    def field(self, at: Pick, read: Callable[[Pick, Json], T]) -> T:
        """Read the value at ``at`` by ``read``.

        Raises:
            Unusable: it is not there, or makes no sense; the pointer is named.
        """
        value, place = self.value, self.pointer + at.at
        if at.get is not None:
            value, place = self.elsewhere.get(at.get), f"{at.at} of GET {at.get}"
        try:
            raw = pick(value, at.at)
        except Unusable:
            raise Unusable(f"there is no value at {place}") from None
        try:
            return read(at, raw)
        except Unusable as why:
            words = str(why)
        raise Unusable(f"at {place}, {words}")


def entries(read: Read, document: Json, names: Mapping[str, str]) -> dict[str, Entry]:
    """The entries of ``document`` by name; ``names`` maps the device's own names to the plan's.

    Raises:
        Unusable: there are no entries where they should be, or two have one name.
    """
    found: dict[str, Entry] = {}
    for key, value, pointer in _each(read, document):
        if not isinstance(key, str | int) or isinstance(key, bool):
            raise Unusable(f"the key of the entry at {pointer} is neither text nor number")
        own = read.named.replace("{key}", str(key))
        name = names.get(own, own)
        if name in found:
            raise Unusable(f"two entries are named {name}; the second is at {pointer}")
        found[name] = Entry(name=name, key=key, value=value, pointer=pointer)
    return found


def _each(read: Read, document: Json) -> Iterator[tuple[Json, Json, str]]:
    if read.entries is None:
        yield ONLY, document, ""
        return
    held = pick(document, read.entries)
    if isinstance(held, dict):
        pairs = list(held.items())
    elif isinstance(held, list):
        pairs = list(enumerate(held, read.first))
    else:
        raise Unusable(f"there is neither a list nor an object at {read.entries}")
    for place, (index, value) in enumerate(pairs):
        if value is None:
            continue  # a slot where nothing is
        pointer = read.entries + token(index if isinstance(held, dict) else place)
        yield index if read.key is None else _key(value, read.key, pointer), value, pointer


def _key(value: Json, key: str, pointer: str) -> Json:
    try:
        return pick(value, key)
    except Unusable:
        raise Unusable(f"there is no value at {pointer}{key}") from None
