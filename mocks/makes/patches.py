"""What a device does with a patch: merge patch (RFC 7396) and JSON Patch (RFC 6902).

Written from the two standards, for simulated devices that take them. All or nothing: a patch that
can't be done whole changes nothing.
"""

import copy
from typing import Any

from mocks.messages import Problem

Path = list[str]


def merged(target: Any, patch: Any) -> Any:
    """``target`` after a merge patch (RFC 7396, section 2); ``target`` itself stays as it is."""
    if not isinstance(patch, dict):
        return copy.deepcopy(patch)
    result = dict(target) if isinstance(target, dict) else {}
    for name, value in patch.items():
        if value is None:
            result.pop(name, None)
        else:
            result[name] = merged(result.get(name), value)
    return result


def patched(target: Any, operations: Any) -> Any:
    """``target`` after a JSON Patch (RFC 6902, section 5); ``target`` itself stays as it is.

    Raises:
        Problem: 409 where a ``test`` fails or something is not there (RFC 5789, 2.2), 400 where
            it is no patch.
    """
    if not isinstance(operations, list):
        raise Problem(400, "a patch is a list of operations")
    result = copy.deepcopy(target)
    for each in operations:
        try:
            result = _one(result, each)
        except (KeyError, IndexError, TypeError, ValueError) as error:
            raise Problem(400, f"no operation: {each!r}") from error
    return result


def _one(document: Any, each: dict[str, Any]) -> Any:
    path = _tokens(each["path"])
    match each["op"]:
        case "add":
            return _added(document, path, each["value"])
        case "remove":
            return _removed(document, path)
        case "replace":
            _at(document, path)
            return _added(_removed(document, path), path, each["value"]) if path else each["value"]
        case "move":
            value = _at(document, _tokens(each["from"]))
            return _added(_removed(document, _tokens(each["from"])), path, value)
        case "copy":
            return _added(document, path, copy.deepcopy(_at(document, _tokens(each["from"]))))
        case "test":
            if not _equal(_at(document, path), each["value"]):
                raise Problem(409, f"{each['path']} is not {each['value']!r}")
            return document
    raise ValueError(each["op"])


def _tokens(pointer: str) -> Path:
    """RFC 6901, section 4."""
    if pointer and not pointer.startswith("/"):
        raise ValueError(pointer)
    return [part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]]


def _at(document: Any, path: Path) -> Any:
    for token in path:
        document = document[_index(document, token)]
    return document


def _index(holder: Any, part: str) -> Any:
    if isinstance(holder, dict):
        if part not in holder:
            raise Problem(409, f"there is no {part}")
        return part
    if not isinstance(holder, list):
        raise Problem(409, f"there is no {part}")
    well = part.isascii() and part.isdigit() and (part == "0" or part[0] != "0")
    if not well or int(part) >= len(holder):
        raise Problem(409, f"there is no {part}")
    return int(part)


def _added(document: Any, path: Path, value: Any) -> Any:
    if not path:
        return value
    holder, last = _at(document, path[:-1]), path[-1]
    if isinstance(holder, dict):
        holder[last] = value
    elif last == "-" or (isinstance(holder, list) and last == str(len(holder))):
        holder.append(value)
    else:
        holder.insert(_index(holder, last), value)
    return document


def _removed(document: Any, path: Path) -> Any:
    holder = _at(document, path[:-1])
    del holder[_index(holder, path[-1])]
    return document


def _equal(one: Any, other: Any) -> bool:
    """RFC 6902, 4.6: as JSON values; a truth is no figure, a text no figure."""
    if isinstance(one, bool) or isinstance(other, bool):
        return one is other
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_equal(one[k], other[k]) for k in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_equal, one, other))
    return bool(one == other)
