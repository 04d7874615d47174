"""Whole-object writes: what was read, with the changed members put in, and its entity tag.

Some devices take an object whole or not at all. What they hold beside the change goes back to them
as it was read. That is safe only if nobody changed it between: the write carries the entity tag of
its read in ``If-Match`` where the device gives one (RFC 9110, 8.8.3 and 13.1.1), and the value that
the step is about must still be the one that the step found.
"""

import re
from collections.abc import Mapping
from typing import Any

from orchestrator.adapters.http.json_pointer import Unusable, pick, same, shown
from orchestrator.facility.description import Json

_TAG = re.compile(r'"[\x21\x23-\x7e]{0,500}"')  # RFC 9110, 8.8.3, in ASCII, bounded


def put_in(document: Json, pointer: str, members: Json) -> Json:
    """``document`` with ``members`` put into the object at ``pointer``; neither is changed.

    Objects are gone into; anything else, null and lists too, takes the place of what was there.

    Raises:
        Unusable: there is nothing at the pointer.
    """
    pick(document, pointer)
    return _at(document, _tokens(pointer), members)


def _at(document: Any, tokens: list[str], members: Json) -> Json:
    if not tokens:
        return _joined(document, members)
    first, *rest = tokens
    if isinstance(document, dict):
        return {**document, first: _at(document[first], rest, members)}
    index = int(first)
    return [*document[:index], _at(document[index], rest, members), *document[index + 1 :]]


def _joined(was: Json, members: Json) -> Json:
    if not isinstance(was, dict) or not isinstance(members, dict):
        return members
    changed = {name: _joined(was.get(name), value) for name, value in members.items()}
    return {**was, **changed}


def _tokens(pointer: str) -> list[str]:
    """RFC 6901, section 4: ``~1`` is decoded before ``~0``."""
    return [part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]]


def entity_tag(headers: Mapping[str, str]) -> str:
    """The strong entity tag of an answer, fit to stand in ``If-Match``.

    Raises:
        Unusable: there is none, or a weak one, with which no ``If-Match`` is ever true.
    """
    tag = headers.get("etag", "").strip()
    if not tag:
        raise Unusable("the answer has no ETag, and the device description asks for if_match")
    if not _TAG.fullmatch(tag):
        raise Unusable(f"the ETag {shown(tag)} can't stand in If-Match")
    return tag


def differing(
    now: Mapping[str, Json], found: Mapping[str, Json], wanted: Mapping[str, Json]
) -> list[str]:
    """The names whose values now are neither as found nor as wanted, sorted."""
    known = {name: (found[name], wanted.get(name, found[name])) for name in found}
    return sorted(
        name
        for name, value in now.items()
        if name in known and not any(same(value, one) for one in known[name])
    )
