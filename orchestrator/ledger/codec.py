r"""Values to JSON text and back, exactly.

The values are frozen dataclasses; pydantic reads their annotations. Events tell themselves apart
by ``kind``, step values by their keys:

- what a source holds: ``{"number": 311, "groups": ["239.194.1.55:5004"]}``
- what a destination hears: ``{"number": 311, "group": null}``
- an address: ``{"interface": "main", "address": "10.44.3.31", "prefix": 24, "gateway": null}``
- a setting: ``true``, ``0``, ``1.5``, ``"text"``; ``null`` where nothing is held. A figure that is
  none (``Infinity``, ``NaN``) stands as Python writes it, which is outside of RFC 8259

Text that is no Unicode (half a surrogate pair, as a broken device may send it) is kept as its
escape, ``\ud800``: losing an event over it would be worse.
"""

import json
from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Field, TypeAdapter, ValidationError

from orchestrator.errors import LedgerError
from orchestrator.facility.found import Found
from orchestrator.running.events import Event
from orchestrator.running.record import RunRecord

_EVENT: TypeAdapter[Event] = TypeAdapter(Annotated[Event, Field(discriminator="kind")])
_RECORD: TypeAdapter[RunRecord] = TypeAdapter(RunRecord)
_FOUND: TypeAdapter[Found] = TypeAdapter(Found)


_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"))


def _dump(adapter: TypeAdapter[Any], value: object) -> str:
    plain = adapter.dump_python(value)
    text = _ENCODER.encode(plain)
    try:
        text.encode()
    except UnicodeEncodeError:
        return _ENCODER.encode(_unicode(plain))
    return text


def _unicode(value: object) -> object:
    """``value`` with every text in it made Unicode."""
    match value:
        case str():
            return value.encode(errors="backslashreplace").decode()
        case Mapping():
            return {_unicode(key): _unicode(entry) for key, entry in value.items()}
        case list() | tuple():
            return [_unicode(entry) for entry in value]
        case _:
            return value


def _load(adapter: TypeAdapter[Any], text: str, what: str) -> Any:
    try:
        return adapter.validate_json(text)
    except ValidationError as error:
        raise LedgerError(
            f"{what} in the ledger can't be read: {error.error_count()} value(s) make no sense",
            "put the ledger back from a copy; the rollback notes of the run still hold",
        ) from error


def dump_event(event: Event) -> str:
    """One event as JSON text."""
    return _dump(_EVENT, event)


def load_event(text: str, what: str) -> Event:
    """The event in ``text``; ``what`` names it in the error.

    Raises:
        LedgerError: the text is no event.
    """
    event: Event = _load(_EVENT, text, what)
    return event


def dump_record(record: RunRecord) -> str:
    """A run as JSON text, the states of before included."""
    return _dump(_RECORD, record)


def load_record(text: str, what: str) -> RunRecord:
    """The run in ``text``; ``what`` names it in the error.

    Raises:
        LedgerError: the text is no run.
    """
    record: RunRecord = _load(_RECORD, text, what)
    return record


def dump_found(found: Found) -> str:
    """A device's state as JSON text."""
    return _dump(_FOUND, found)


def load_found(text: str, what: str) -> Found:
    """The device's state in ``text``; ``what`` names it in the error.

    Raises:
        LedgerError: the text is no state.
    """
    found: Found = _load(_FOUND, text, what)
    return found
