"""Several steps in one request, where a device description has a batch for them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from orchestrator.adapters.declared import bodies
from orchestrator.adapters.declared.template import fill_body, scalar_text
from orchestrator.adapters.http.json_pointer import Unusable, document, pick, same, shown
from orchestrator.adapters.http.messages import Party, Request, Response
from orchestrator.errors import Busy, DeviceError, OutcomeUnknown, Rejected
from orchestrator.facility.description import BatchRule, Description, Fates, Json
from orchestrator.facility.step import Step

EACH = "each"


@dataclass(frozen=True, slots=True)
class Part:
    """One step's share: its id, what it does in words, the device's key, what is sent for it."""

    step: str
    doing: str
    key: Json
    wants: Json


def batch_for(description: Description, steps: Sequence[Step]) -> BatchRule | None:
    """The first batch that takes all of ``steps``; None: there is none."""
    kinds = {step.kind for step in steps}
    return next(
        (
            batch
            for batch in description.batches
            if kinds <= batch.each.keys() and len(steps) <= batch.most
        ),
        None,
    )


def one_by_one(description: Description, batch: BatchRule) -> Description:
    """``description`` with the writes of a batch's steps as they stand in it.

    So what one step wants is worked out, and its placeholders filled, as for a write of its own.
    """
    writes = dict(description.writes)
    for kind, template in batch.each.items():
        writes[kind] = replace(batch.rule, body=template)
    return replace(description, writes=writes)


def wants(batch: BatchRule, step: Step, given: Mapping[str, Json]) -> Json:
    """What ``step`` wants, filled in.

    Raises:
        Unwritable: a value is missing, or can't stand where it should.
    """
    return bodies.fill(replace(batch.rule, body=batch.each[step.kind]), given)


def request(batch: BatchRule, parts: Sequence[Part], doing: str) -> Request:
    """The one request of several parts.

    Raises:
        Unwritable: a key can't stand as the name of a member.
    """
    rule, all_of_them = batch.rule, _joined(batch, parts)
    tests = any(
        bodies.tests_first(replace(rule, body=template)) for template in batch.each.values()
    )
    return Request(
        method=rule.method,
        path=rule.path,
        doing=doing,
        body=fill_body(rule.body, {EACH: all_of_them}),
        content_type=rule.content_type,
        overtaken=frozenset({409}) if tests else frozenset(),
    )


def _joined(batch: BatchRule, parts: Sequence[Part]) -> Json:
    if batch.by_key:
        return {scalar_text("key", part.key): part.wants for part in parts}
    if bodies.kind_of(batch.rule.content_type) == bodies.JSON_PATCH:
        return [operation for part in parts for operation in part.wants]
    return [part.wants for part in parts]


def refused(
    fates: Fates, response: Response, parts: Sequence[Part], party: Party
) -> dict[str, DeviceError]:
    """The error of each part that was not done, by its step's id; what quotes is not clean yet.

    Raises:
        OutcomeUnknown: the answer says nothing of any part.
    """
    try:
        entries = _entries(fates, document(response.body), parts)
    except Unusable as why:
        said = f"several steps were sent in one request, and of its answer {why}"
        doing = "reading what became of them"
        raise OutcomeUnknown(party.device, party.address, doing, said) from None
    found: dict[str, DeviceError] = {}
    for part, held in zip(parts, entries, strict=True):
        error = _error(fates, held, part, party)
        if error is not None:
            found[part.step] = error
    return found


def _entries(fates: Fates, held: Json, parts: Sequence[Part]) -> list[list[Json]]:
    """What is said of each part; of one that is named twice, or not at all, not one thing."""
    entries = pick(held, fates.entries)
    if isinstance(entries, dict) and fates.key is None:
        named = [(name, entry) for name, entry in entries.items()]
    elif isinstance(entries, list) and fates.key is not None:
        named = [(_key(entry, fates.key), entry) for entry in entries]
    elif isinstance(entries, dict):
        named = [(_key(entry, fates.key or ""), entry) for entry in entries.values()]
    elif isinstance(entries, list):
        if len(entries) != len(parts):
            raise Unusable(f"{fates.entries} has not an entry for each of them")
        return [[entry] for entry in entries]
    else:
        raise Unusable(f"there is neither a list nor an object at {fates.entries}")
    return [
        [entry for name, entry in named if name == scalar_text("key", part.key)] for part in parts
    ]


def _key(entry: Json, pointer: str) -> str:
    try:
        held = pick(entry, pointer)
    except Unusable:
        return ""
    return str(held) if isinstance(held, str | int) and not isinstance(held, bool) else ""


def _error(fates: Fates, held: Sequence[Json], part: Part, party: Party) -> DeviceError | None:
    at = (party.device, party.address, part.doing)
    if len(held) != 1:
        return OutcomeUnknown(*at, "the answer does not say what became of it")
    told = _at(held[0], fates.at)
    if any(same(told, value) for value in fates.done):
        return None
    words = _at(held[0], fates.why) if fates.why is not None else None
    said = words if isinstance(words, str) and words else f"the answer says {shown(told)}"
    if any(same(told, value) for value in fates.busy):
        return Busy(*at, said)
    return Rejected(*at, said)


def _at(entry: Json, pointer: str) -> Json:
    try:
        return pick(entry, pointer)
    except Unusable:
        return None
