"""A range entry of the plan taken apart into its members, and put together where they still fit."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from orchestrator.documents.reading.spread import expand, holds_range, number_range

Value = Any
_DIGITS = re.compile("[0-9]+")
_BRACES = re.compile(r"\{([0-9]+)\.\.([0-9]+)\}")


@dataclass(frozen=True, slots=True)
class Run:
    """Members that one key and one entry can say: the key, its values, and who they are."""

    key: str
    values: Mapping[str, Value]
    members: tuple[str, ...]


def member_values(key: str, entry: Mapping[str, Value]) -> dict[str, dict[str, Value]]:
    """What each member that ``key`` names has, as if it stood by itself."""
    names = expand(key)
    return {
        name: {item: _nth(value, index, len(names)) for item, value in entry.items()}
        for index, name in enumerate(names)
    }


def runs(
    key: str, entry: Mapping[str, Value], wanted: Mapping[str, Mapping[str, Value]]
) -> list[Run]:
    """The fewest runs of neighbours, from the first member on, that say what is ``wanted``.

    What still is as the entry says keeps the entry's own words.
    """
    names = list(expand(key))
    found: list[Run] = []
    start = 0
    while start < len(names):
        end = start + 1
        values = dict(wanted[names[start]])
        while end < len(names):
            longer = _together(names, wanted, entry, start, end + 1)
            if longer is None:
                break
            values, end = longer, end + 1
        found.append(Run(_key(key, names, start, end), values, tuple(names[start:end])))
        start = end
    return found


def _nth(value: Value, index: int, count: int) -> Value:
    """What the ``index``-th of ``count`` members has of ``value``."""
    if isinstance(value, list):
        return [_nth(item, index, count) for item in value]
    if not isinstance(value, str):
        return value
    ends = number_range(value)
    if ends is not None and ends[1] - ends[0] + 1 == count:
        return ends[0] + index
    return expand(value)[index] if holds_range(value) else value


def _key(key: str, names: list[str], start: int, end: int) -> str:
    return names[start] if end - start == 1 else _sliced(key, start, end)


def _sliced(text: str, start: int, end: int) -> str:
    """``text`` with its range cut down to the members from ``start`` to before ``end``."""

    def cut(found: re.Match[str]) -> str:
        low = found[1]
        width = len(low) if low.startswith("0") else 0
        first = int(low)
        return f"{{{first + start:0{width}d}..{first + end - 1:0{width}d}}}"

    return _BRACES.sub(cut, text)


def _together(
    names: list[str],
    wanted: Mapping[str, Mapping[str, Value]],
    entry: Mapping[str, Value],
    start: int,
    end: int,
) -> dict[str, Value] | None:
    """What one entry says for the members from ``start`` to before ``end``; None: no one can."""
    members = [wanted[name] for name in names[start:end]]
    if any(set(member) != set(members[0]) for member in members):
        return None
    said: dict[str, Value] = {}
    for item in members[0]:
        values = [member[item] for member in members]
        was = entry.get(item)
        as_before = [_nth(was, index, len(names)) for index in range(start, end)]
        if was is not None and values == as_before:
            said[item] = _part(was, start, end, len(names))
            continue
        one = _said_at_once(values, alone=item not in ("number", "groups"))
        if one is None:
            return None
        said[item] = one
    return said


def _part(value: Value, start: int, end: int, count: int) -> Value:
    """The entry's own words for a part of its members."""
    if end - start == count:
        return value
    if isinstance(value, list):
        return [_part(item, start, end, count) for item in value]
    if isinstance(value, str):
        ends = number_range(value)
        if ends is not None and ends[1] - ends[0] + 1 == count:
            return f"{ends[0] + start}-{ends[0] + end - 1}"
        return type(value)(_sliced(value, start, end)) if holds_range(value) else value
    return value


def _said_at_once(values: list[Value], *, alone: bool) -> Value | None:
    """One value that says ``values`` for neighbours; ``alone``: one value may be everyone's."""
    first = values[0]
    if alone and all(value == first and type(value) is type(first) for value in values):
        return first
    if isinstance(first, list):
        if any(not isinstance(value, list) or len(value) != len(first) for value in values):
            return None
        parts = [_said_at_once(list(items), alone=False) for items in zip(*values, strict=True)]
        return None if None in parts else parts
    if all(isinstance(value, int) and not isinstance(value, bool) for value in values):
        steady = all(value == first + index for index, value in enumerate(values))
        return f"{first}-{values[-1]}" if steady else None
    return _spread_text(values) if all(isinstance(value, str) for value in values) else None


def _spread_text(values: list[str]) -> str | None:
    """A text with one range that spreads into ``values``."""
    for digits in _DIGITS.finditer(values[0]):
        low = digits[0]
        before, after = values[0][: digits.start()], values[0][digits.end() :]
        high = f"{int(low) + len(values) - 1:0{len(low) if low.startswith('0') else 0}d}"
        text = f"{before}{{{low}..{high}}}{after}"
        if list(expand(text)) == values:
            return text
    return None
