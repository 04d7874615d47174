"""The edits of a RESTCONF server: PUT, PATCH, DELETE (RFC 8040, section 4), YANG Patch (RFC 8072).

Each gives the configuration as it would be; nothing is changed here. A YANG Patch is done whole or
not at all.
"""

from typing import Any

from mocks.restconf.errors import Refused
from mocks.restconf.path import KEYS, Segment, Tree, at, merged, parsed, put

YANG_PATCH = "application/yang-patch+json"
Path = tuple[Segment, ...]


def replaced(tree: Tree, path: Path, message: Any) -> Tree:
    """After a PUT: what is at the path is what the message holds, and nothing else."""
    _configurable(path)
    return put(tree, path, _unwrapped(message, path[-1]))


def patched(tree: Tree, path: Path, message: Any) -> Tree:
    """After a plain patch: the message merged in. It makes nothing, and takes nothing away."""
    if not path:
        held = message.get("ietf-restconf:data") if isinstance(message, dict) else None
        if not isinstance(held, dict):
            raise Refused("malformed-message", "the message holds no data")
        return Tree(merged(tree, held))
    _configurable(path)
    now, value = at(tree, path), _unwrapped(message, path[-1])
    keys = {key: value.get(key) for key in value} if isinstance(value, dict) else {}
    for key, wanted in zip(_key_names(path[-1]), path[-1].keys, strict=True):
        if str(keys.get(key, wanted)) != wanted:
            raise Refused("invalid-value", "a patch changes no key")
    return put(tree, path, merged(now, value, path[-1].name))


def deleted(tree: Tree, path: Path) -> Tree:
    """After a DELETE: nothing is at the path, where something has to be before."""
    _configurable(path)
    try:
        at(tree, path)
    except Refused as refused:
        raise Refused("data-missing", str(refused), status=404) from None
    return put(tree, path, None)


def edited(tree: Tree, path: Path, message: Any) -> tuple[Tree, str]:
    """After a YANG Patch, and the patch's id.

    Raises:
        PatchRefused: one edit can't be done; none is.
    """
    held = message.get("ietf-yang-patch:yang-patch") if isinstance(message, dict) else None
    edits = held.get("edit") if isinstance(held, dict) else None
    if not isinstance(held, dict) or not isinstance(edits, list):
        raise Refused("malformed-message", "the message holds no YANG Patch")
    name = str(held.get("patch-id"))
    for edit in edits:
        try:
            tree = _one(tree, path, edit)
        except (KeyError, TypeError, AttributeError) as error:
            refused = Refused("malformed-message", f"an edit lacks {error}")
            raise PatchRefused(name, "", refused) from error
        except Refused as refused:
            raise PatchRefused(name, str(edit.get("edit-id")), refused) from refused
    return tree, name


class PatchRefused(Exception):
    """A YANG Patch of which an edit can't be done: which, and why. Never leaves the device."""

    def __init__(self, patch: str, edit: str, why: Refused) -> None:
        super().__init__(str(why))
        self.why = why
        errors = {"error": [why.error]}
        each = {"edit-status": {"edit": [{"edit-id": edit, "errors": errors}]}}
        self.status = {
            "ietf-yang-patch:yang-patch-status": {
                "patch-id": patch,
                **(each if edit else {"errors": errors}),
            }
        }


def _one(tree: Tree, base: Path, edit: dict[str, Any]) -> Tree:
    below = edit["target"] if edit["target"] != "/" else ""
    target = base + parsed(below, base[-1].module if base else "")
    match edit["operation"]:
        case "create":
            if _is_there(tree, target):
                raise Refused("data-exists", "it is there already")
            return put(tree, target, _unwrapped(edit["value"], target[-1]))
        case "replace":
            _configurable(target)
            return put(tree, target, _unwrapped(edit["value"], target[-1]))
        case "merge":
            now = at(tree, target) if _is_there(tree, target) else None
            value = _unwrapped(edit["value"], target[-1])
            return put(tree, target, merged(now, value, target[-1].name))
        case "delete":
            return deleted(tree, target)
        case "remove":
            return put(tree, target, None) if _is_there(tree, target) else tree
    raise Refused("operation-not-supported", f"no operation {edit['operation']}", status=501)


def _is_there(tree: Tree, path: Path) -> bool:
    try:
        at(tree, path)
    except Refused:
        return False
    return True


def _configurable(path: Path) -> None:
    if not path:
        raise Refused("operation-not-supported", "the datastore itself is not replaced")
    if path[0].module == "ietf-hardware":
        raise Refused("operation-not-supported", "that is the device's own", status=405)


def _unwrapped(message: Any, last: Segment) -> Any:
    """The value in a message: one member, of the target's name with its module (RFC 7951)."""
    if not isinstance(message, dict) or len(message) != 1:
        raise Refused("malformed-message", "a message holds one resource")
    name, value = next(iter(message.items()))
    if name != last.wrapped:
        tag = "unknown-namespace" if ":" not in name else "unknown-element"
        raise Refused(tag, f"the message holds {name}, not {last.wrapped}")
    if not last.keys:
        return value
    if not isinstance(value, list) or len(value) != 1:
        raise Refused("malformed-message", "an entry stands in a list of one")
    return value[0]


def _key_names(segment: Segment) -> tuple[str, ...]:

    return KEYS[segment.bare] if segment.keys else ()
