"""The digest of a sequence: what an approval holds on to."""

import json
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from hashlib import sha256
from operator import attrgetter
from typing import Any

from orchestrator.facility.step import Sequence

# What a step is expected to take says nothing about what it does: two surveys of the same
# devices differ in it by chance, and should not give two digests.
_LEFT_OUT = frozenset({"estimate_s"})
# What came later: a step that has none of it reads as it did before there was any.
_LEFT_OUT_IF_EMPTY = frozenset({"behind", "origin", "batch"})
# Most values are one of these themselves, and no kind of them.
_BARE = frozenset({str, int, float, bool, type(None)})


def digest(sequence: Sequence) -> str:
    """The first 16 hexadecimal digits of the SHA-256 (FIPS 180-4) over the canonical sequence."""
    return sha256(canonical(sequence).encode()).hexdigest()[:16]


def canonical(sequence: Sequence) -> str:
    """The sequence as JSON with one spelling only: keys sorted, no spaces, ASCII.

    ``true``, ``1``, ``1.0`` and ``"1"`` stay apart; so do the kinds of value, by their keys.
    """
    return json.dumps(
        _plain(sequence), sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )


def _plain(value: Any) -> Any:
    kind: Any = type(value)
    if kind in _BARE:
        return value
    if isinstance(value, (tuple, list)):
        return [each if type(each) in _BARE else _plain(each) for each in value]
    if (reader := _reader(kind)) is not None:
        names, read = reader
        return {
            name: here if type(here) in _BARE else _plain(here)
            for name, here in zip(names, read(value), strict=True)
            if here or name not in _LEFT_OUT_IF_EMPTY
        }
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    return value


@cache
def _reader(kind: type[Any]) -> tuple[tuple[str, ...], Callable[[Any], tuple[Any, ...]]] | None:
    """The fields of a dataclass that count, and what reads them all; None: it is no dataclass."""
    if not is_dataclass(kind):
        return None
    names = tuple(item.name for item in fields(kind) if item.name not in _LEFT_OUT)
    if len(names) > 1:
        return names, attrgetter(*names)
    return names, lambda value: tuple(getattr(value, name) for name in names)
