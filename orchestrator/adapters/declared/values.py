"""One value between the device's way of writing it and ours.

Reading goes: the way to say "unassigned", then the text around the value, then the table of values,
then the part of a compound text, then the digits, then the unit. Writing goes the same way back.
"""

import json
import math
import re
from collections.abc import Callable
from ipaddress import AddressValueError, IPv4Address

from orchestrator.adapters.http.json_pointer import Unusable, lone_surrogate, same, shown
from orchestrator.facility.description import Json, Pick
from orchestrator.facility.units import converted
from orchestrator.facility.wanted import SettingValue

_FIGURES = re.compile(r"-?(0|[1-9][0-9]{0,17})")
_MAX_PREFIX = 32
_VALUE = "{value}"


Reader = Callable[[Pick, Json], SettingValue | None]
"""What reads one value."""


class Unwritable(ValueError):
    """A value can't be said in the device's way; the text is a sentence."""


def number(pick: Pick, raw: Json) -> int | None:
    """Read a channel number or other whole figure; None: unassigned.

    Raises:
        Unusable: it is no whole figure.
    """
    value = _read(pick, raw)
    if value is None:
        return None
    if pick.digits is not None or pick.part is not None or pick.values or pick.within:
        value = _from_text(value)
    if isinstance(value, bool) or not isinstance(value, int):
        raise Unusable(f"{shown(raw)} is no number")
    return value


def text(pick: Pick, raw: Json) -> str | None:
    """Read a text; a figure is taken as its text. None: unassigned.

    Raises:
        Unusable: it is neither.
    """
    value = _read(pick, raw)
    if value is None:
        return None
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    if not isinstance(value, str):
        raise Unusable(f"{shown(raw)} is no text")
    return value


def switch(pick: Pick, raw: Json) -> bool:
    """Read a yes or no.

    Raises:
        Unusable: it is neither.
    """
    value = _read(pick, raw)
    if not isinstance(value, bool):
        raise Unusable(f"{shown(raw)} is neither true nor false")
    return value


def scalar(pick: Pick, raw: Json) -> SettingValue:
    """Read a setting's value: true or false, a figure or a text.

    Raises:
        Unusable: it is none of these.
    """
    value = _read(pick, raw)
    if not isinstance(value, bool | int | float | str):
        raise Unusable(f"{shown(raw)} is no single value")
    if pick.within is not None and isinstance(value, str) and not pick.values:
        value = int(value) if _FIGURES.fullmatch(value) else value
    if pick.digits is not None:
        value = _from_text(value)
    kept: SettingValue = value
    return kept if pick.unit is None else _in_unit(kept, pick.unit[0], pick.unit[1], raw)


def _in_unit(value: SettingValue, unit: str, into: str, raw: Json) -> int | float:
    try:
        figure = float(value) if isinstance(value, str) else value
    except ValueError:
        figure = True
    if isinstance(figure, bool) or not math.isfinite(figure):
        raise Unusable(f"{shown(raw)} is no figure in {unit}")
    return converted(figure, unit, into)


def address(pick: Pick, raw: Json) -> str | None:
    """Read an IPv4 address; None: unassigned.

    Raises:
        Unusable: it is no address.
    """
    value = text(pick, raw)
    if value is None:
        return None
    try:
        return str(IPv4Address(value))
    except AddressValueError:
        raise Unusable(f"{shown(raw)} is no IPv4 address") from None


def prefix(pick: Pick, raw: Json) -> int:
    """Read a prefix length in bits, 0 to 32.

    Raises:
        Unusable: it is none.
    """
    value = number(pick, raw)
    if value is None or not 0 <= value <= _MAX_PREFIX:
        raise Unusable(f"{shown(raw)} is no prefix length")
    return value


def encode(pick: Pick, value: SettingValue | None) -> Json:
    """Say ``value`` in the device's way; None is its way to say "unassigned".

    Raises:
        Unwritable: the device description knows no way to say it.
    """
    if value is None:
        if not pick.has_unassigned:
            raise Unwritable("the device description does not say how 'unassigned' is written")
        return pick.unassigned
    if not _sayable(value):
        raise Unwritable("the value can't be put into JSON")
    if pick.unit is not None:
        value = _out_of_unit(value, *pick.unit)
    written = _encoded(pick, value)
    return written if pick.within is None else pick.within.replace(_VALUE, _text(written))


def _out_of_unit(value: SettingValue, theirs: str, ours: str) -> int | float:
    if isinstance(value, bool | str):
        raise Unwritable(f"{shown(value)} is no figure in {ours}")
    return converted(value, ours, theirs)


def _text(written: Json) -> str:
    return written if isinstance(written, str) else json.dumps(written, ensure_ascii=False)


def _encoded(pick: Pick, value: SettingValue) -> Json:
    if pick.values:
        return _mapped(pick, value)
    if pick.part is not None:
        return _part(pick.part, value)
    if pick.digits is not None:
        return _digits(pick.digits, value)
    return value


def _sayable(value: SettingValue) -> bool:
    """JSON knows no infinity (RFC 8259, section 6), UTF-8 no half characters."""
    if isinstance(value, float):
        return math.isfinite(value)
    return not isinstance(value, str) or value.isascii() or not lone_surrogate(value)


def _read(pick: Pick, raw: Json) -> Json:
    if pick.has_unassigned and same(raw, pick.unassigned):
        return None
    if pick.within is not None:
        raw = _inner(pick.within, raw)
    if pick.values:
        return _unmapped(pick, raw)
    if raw is None:
        raise Unusable("null is no value")
    if pick.part is not None:
        return _part(pick.part, raw)
    if pick.digits is not None and not (isinstance(raw, str) and len(raw) == pick.digits):
        raise Unusable(f"{shown(raw)} is no text of {pick.digits} digits")
    return raw


def _inner(within: str, raw: Json) -> str:
    """The value's own text inside the text around it."""
    head, _, tail = within.partition(_VALUE)
    if not isinstance(raw, str) or len(raw) <= len(head) + len(tail):
        raise Unusable(f"{shown(raw)} is not written as {within}")
    if not raw.startswith(head) or not raw.endswith(tail):
        raise Unusable(f"{shown(raw)} is not written as {within}")
    return raw[len(head) : len(raw) - len(tail)]


def _unmapped(pick: Pick, raw: Json) -> SettingValue:
    for ours, theirs in pick.values.items():
        if same(theirs, raw):
            return _ours(ours)
    raise Unusable(f"{shown(raw)} is not among the values that the device description knows")


def _mapped(pick: Pick, value: SettingValue) -> Json:
    for ours, theirs in pick.values.items():
        if same(_ours(ours), value) or ours == value:
            return theirs
    known = ", ".join(pick.values)
    raise Unwritable(f"{shown(value)} is not among the values {known}")


def _ours(word: str) -> SettingValue:
    """A word of the table of values as the value that it stands for."""
    if word in ("true", "false"):
        return word == "true"
    return int(word) if _FIGURES.fullmatch(word) else word


def _part(part: str, value: Json) -> Json:
    if not isinstance(value, str):
        return value
    mark = "/" if part == "prefix" or "/" in value else ":"
    head, found, tail = value.partition(mark)
    if part == "address":
        return head
    if not found:
        raise Unusable(f"{shown(value)} has no {part}")
    return _from_text(tail)


def _from_text(value: Json) -> Json:
    if not isinstance(value, str):
        return value
    if not (value.isascii() and value.isdigit() and len(value) < 19):  # noqa: PLR2004 - fits 64 bits
        raise Unusable(f"{shown(value)} is no number")
    return int(value)


def _digits(digits: int, value: SettingValue) -> str:
    if isinstance(value, bool) or not isinstance(value, int) or value < 0:
        raise Unwritable(f"{shown(value)} can't be written as {digits} digits")
    written = f"{value:0{digits}d}"
    if len(written) > digits:
        raise Unwritable(f"{value} has more than {digits} digits")
    return written
