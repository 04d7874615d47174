"""The digest of a sequence: what an approval holds on to."""

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from hashlib import sha256
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
    if type(value) in _BARE:
        return value
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return {
            name: _plain(here)
            for name in _names(type(value))
            if (here := getattr(value, name)) or name not in _LEFT_OUT_IF_EMPTY
        }
    return value


@cache
def _names(kind: type[Any]) -> tuple[str, ...]:
    return tuple(item.name for item in fields(kind) if item.name not in _LEFT_OUT)
