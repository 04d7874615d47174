"""What a RESTCONF server says is wrong, in words (RFC 8040, 7.1; RFC 8072, 2.3 and 2.4).

An error document lists errors; a YANG Patch is answered with a status that holds them, for the
whole patch or for each of its edits. Each error has a type (where it arose), a tag, and perhaps a
path into the data and a message. All of that is shown, since any of it may be what helps.
"""

from collections.abc import Iterator

from orchestrator.facility.description import Json

TAGS = {
    "in-use": "what is asked for is in use already",
    "lock-denied": "somebody else has locked it",
    "resource-denied": "it has not the means to do that now",
    "data-exists": "what was to be made is there already",
    "data-missing": "what was to be changed is not there",
    "invalid-value": "a value is not one that it takes",
    "too-big": "the request, or the answer to it, is too big",
    "missing-attribute": "an attribute is missing",
    "bad-attribute": "an attribute has a value that it does not take",
    "unknown-attribute": "an attribute is not one that it knows",
    "missing-element": "an element is missing",
    "bad-element": "an element has a value that it does not take",
    "unknown-element": "an element is not one that it knows",
    "unknown-namespace": "a module is not one that it knows",
    "access-denied": "the sign-in has no right to do that",
    "rollback-failed": "it could not take back what it had begun",
    "operation-not-supported": "it can't do that",
    "operation-failed": "it failed to do that",
    "partial-operation": "it did a part of it and failed at another",
    "malformed-message": "it could not read the message",
}
"""Every error tag that RFC 8040, section 7, and RFC 6241, appendix A, know, in words."""

PASSING = frozenset({"lock-denied", "in-use"})
"""Tags of a state that passes by itself: another client's lock, another's unconfirmed commit."""

ERRORS, STATUS = "ietf-restconf:errors", "ietf-yang-patch:yang-patch-status"
_TYPES = {
    "transport": "on the way",
    "rpc": "in the request",
    "protocol": "in the protocol",
    "application": "on the device",
}
_MOST = 3


def errors_in(document: Json) -> list[dict[str, Json]]:
    """The errors of an error document or of a patch's status; empty if it is neither."""
    if not isinstance(document, dict):
        return []
    return [*_listed(document.get(ERRORS)), *_of_patch(document.get(STATUS))]


def said(document: Json) -> str:
    """The errors of ``document`` in one line; empty if it has none."""
    found = errors_in(document)
    more = len(found) - _MOST
    words = [_worded(error) for error in found[:_MOST]]
    return "; ".join([*words, f"and {more} more"] if more > 0 else words)


def passes(document: Json) -> bool:
    """Whether waiting may help: every error of ``document`` is one of another client's doing."""
    found = errors_in(document)
    return bool(found) and all(_text(error, "error-tag") in PASSING for error in found)


def _of_patch(status: Json) -> Iterator[dict[str, Json]]:
    if not isinstance(status, dict):
        return
    yield from _listed(status.get("errors"))
    edits = status.get("edit-status")
    each = edits.get("edit") if isinstance(edits, dict) else None
    for edit in each if isinstance(each, list) else ():
        if isinstance(edit, dict):
            yield from _listed(edit.get("errors"))


def _listed(holder: Json) -> list[dict[str, Json]]:
    held = holder.get("error") if isinstance(holder, dict) else None
    return [one for one in held if isinstance(one, dict)] if isinstance(held, list) else []


def _worded(error: dict[str, Json]) -> str:
    tag, message = _text(error, "error-tag"), _text(error, "error-message")
    meaning, where = TAGS.get(tag, ""), _TYPES.get(_text(error, "error-type"), "")
    inside = ", ".join(word for word in (meaning, where) if word)
    head = " ".join(word for word in (tag or "an error", f"({inside})" if inside else "") if word)
    path = _text(error, "error-path")
    return ": ".join(word for word in (head, message) if word) + (f" at {path}" if path else "")


def _text(error: dict[str, Json], member: str) -> str:
    held = error.get(member)
    return held if isinstance(held, str) else ""
