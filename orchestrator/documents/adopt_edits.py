"""One edit made in the plan as a round-trip tree: in the device's own entry, nowhere else."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, assert_never

from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.scalarstring import ScalarString

from orchestrator.documents.reading.runs_of_members import Run, member_values, runs
from orchestrator.documents.reading.spread import expand, holds_range
from orchestrator.facility.edit import (
    Edit,
    SetAddress,
    SetBlocks,
    SetDestination,
    SetNumbers,
    SetSerial,
    SetSource,
    Unassigned,
)

_GONE = object()
Changes = dict[str, Any]


def make_all(document: CommentedMap, edits: Iterable[Edit]) -> list[str]:
    """Make ``edits`` in ``document``; a line for each value that they change."""
    ranges = _Ranges()
    said = [line for edit in edits for line in _make(document, edit, ranges)]
    ranges.put()
    return said


class _Ranges:
    """Range entries that edits touch: taken apart once, put together when all is known."""

    def __init__(self) -> None:
        self._open: dict[tuple[int, str], tuple[CommentedMap, dict[str, Changes]]] = {}

    def member(self, entries: CommentedMap, key: str, name: str) -> Changes:
        """The values of member ``name`` of the range ``key``, to be changed in place."""
        place = (id(entries), key)
        if place not in self._open:
            self._open[place] = (entries, member_values(key, entries[key]))
        return self._open[place][1][name]

    def put(self) -> None:
        """Write every range back, keeping together what still can be."""
        for (_, key), (entries, members) in self._open.items():
            _put(entries, key, runs(key, entries[key], members))


def _make(document: CommentedMap, edit: Edit, ranges: _Ranges) -> Iterator[str]:
    """Make one edit, giving a line for each value that it changes."""
    device: CommentedMap = document["devices"][edit.device]
    match edit:
        case SetAddress():
            yield from _address(device, edit)
        case SetBlocks(blocks=blocks):
            yield from _set(device, edit.device, {"blocks": list(blocks)})
        case SetNumbers(numbers=numbers):
            yield from _set(device, edit.device, {"numbers": list(numbers)})
        case SetSerial(serial=serial):
            yield from _set(device, edit.device, {"serial": serial})
        case SetSource(source=name):
            entries = _entries(device, "sources")
            yield from _entry(entries, edit.device, name, _source_changes(edit), ranges)
        case SetDestination(destination=name, listens_to=hears):
            entries = _entries(device, "destinations")
            value = hears.number if hears.number is not None else str(hears)
            yield from _entry(entries, edit.device, name, {"listens_to": value}, ranges)
        case _:
            assert_never(edit)


def _address(device: CommentedMap, edit: SetAddress) -> Iterator[str]:
    changes: Changes = {"address": edit.address}
    if edit.network is not None:
        changes["network"] = edit.network
    if edit.interface in device.get("interfaces", {}):
        subject = f"{edit.device}/{edit.interface}"
        yield from _set(device["interfaces"][edit.interface], subject, changes)
    elif "interfaces" in device:
        device["interfaces"][edit.interface] = _flow(changes)
        yield f"{edit.device}/{edit.interface}: address {edit.address}"
    else:
        yield from _set(device, edit.device, changes)


def _source_changes(edit: SetSource) -> Changes:
    changes: Changes = {}
    if isinstance(edit.number, Unassigned):
        changes = {"number": _GONE, "groups": _GONE}
    elif edit.number is not None:
        changes["number"] = edit.number
    if edit.groups is not None:
        changes["groups"] = list(edit.groups)
    changes |= {"label": edit.label} if edit.label is not None else {}
    return changes | ({"enabled": edit.enabled} if edit.enabled is not None else {})


def _entries(device: CommentedMap, kind: str) -> CommentedMap:
    """The device's own sources or destinations, made if it has none of its own yet."""
    if kind not in device:
        _insert(device, kind, CommentedMap())
    entries: CommentedMap = device[kind]
    return entries


def _entry(
    entries: CommentedMap, owner: str, name: str, changes: Changes, ranges: _Ranges
) -> Iterator[str]:
    """Make ``changes`` in the entry of ``name``: its own, its share of a range, or a new one."""
    subject = f"{owner}/{name}"
    if name in entries:
        yield from _set(entries[name], subject, changes)
        return
    key = next((key for key in entries if holds_range(key) and name in expand(key)), None)
    if key is None:
        new = {item: value for item, value in changes.items() if value is not _GONE}
        _insert(entries, name, _flow(new))
        yield from (f"{subject}: {item} {_words(value)}" for item, value in new.items())
        return
    own = ranges.member(entries, key, name)
    for item, value in changes.items():
        was = own.pop(item, _GONE) if value is _GONE else own.get(item, _GONE)
        if value is not _GONE:
            own[item] = value
        if not _same(was, value):
            yield f"{subject}: {item} {_words(value)}, was {_words(was)}"


def _same(was: Any, value: Any) -> bool:
    """Whether a value is there already; 1 is not true."""
    return bool(was == value) and isinstance(was, bool) == isinstance(value, bool)


def _put(entries: CommentedMap, key: str, found: list[Run]) -> None:
    """Put ``found`` where ``key`` stands; the last takes over the entry, and its comments."""
    entry: CommentedMap = entries[key]
    last = found[-1]
    if last.key != key:
        place = list(entries).index(key)
        comments = entries.ca.items.pop(key, None)
        entries.pop(key)
        for offset, run in enumerate(found[:-1]):
            entries.insert(place + offset, run.key, _like(entry, run.values))
        entries.insert(place + len(found) - 1, last.key, entry)
        if comments is not None:
            entries.ca.items[last.key] = comments
    for item in [item for item in entry if item not in last.values]:
        entry.pop(item)
    for item, value in last.values.items():
        if entry.get(item, _GONE) != value:
            _put_value(entry, item, value)


def _set(holder: CommentedMap, subject: str, changes: Changes) -> Iterator[str]:
    """Make ``changes`` in one mapping; what is so already is left alone."""
    for item, value in changes.items():
        was = holder.get(item, _GONE)
        if _same(was, value):
            continue
        if value is _GONE:
            holder.pop(item)
        else:
            _put_value(holder, item, value)
        yield f"{subject}: {item} {_words(value)}, was {_words(was)}"


def _put_value(holder: CommentedMap, item: str, value: Any) -> None:
    """Set one value, in the quotes or brackets that the old one had."""
    was = holder.get(item)
    if isinstance(was, ScalarString) and isinstance(value, str):
        value = type(was)(value)
    if isinstance(value, list):
        value = CommentedSeq(value)
        value.fa.set_flow_style()
    if item in holder:
        holder[item] = value
    else:
        _insert(holder, item, value)


def _insert(holder: CommentedMap, item: str, value: Any) -> None:
    """Add a key: before the last one of a block, since the comments below it hang on that."""
    block = holder.fa.flow_style() is not True
    holder.insert(max(0, len(holder) - 1) if block else len(holder), item, value)


def _like(entry: CommentedMap, values: Mapping[str, Any]) -> CommentedMap:
    """A mapping with ``values``, in braces if ``entry`` is."""
    new = CommentedMap()
    if entry.fa.flow_style():
        new.fa.set_flow_style()
    for item, value in values.items():
        _put_value(new, item, value)
    return new


def _flow(values: Mapping[str, Any]) -> CommentedMap:
    new = CommentedMap()
    new.fa.set_flow_style()
    for item, value in values.items():
        _put_value(new, item, value)
    return new


def _words(value: Any) -> str:
    if value is _GONE:
        return "not said"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return str(value)
