"""The kinds of value that documents hold, each checked in our own words.

Each is an ``Annotated`` type for a pydantic model. A value may hold one range (``{1..4}``) where
a key range lets it be spread; every member is checked then.
"""

import ipaddress
import re
from collections.abc import Callable
from datetime import datetime
from ipaddress import IPv4Address, IPv4Network
from sys import intern
from typing import Annotated, Any, NoReturn

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, PlainValidator, WithJsonSchema
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from orchestrator.documents.reading.spread import SpreadError, expand, number_range
from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import AddressRange, ListensTo, Ref
from orchestrator.facility.wanted import Auto

HIGHEST_NUMBER = 0xFFFFFF
HIGHEST_PORT = 65535
LONGEST_TEXT = 500
LONGEST_SHOWN = 60
DAY_S = 86400

_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9_.-]{0,62})")
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_ADDRESS_PATTERN = r"^[0-9]{1,3}(\.[0-9]{1,3}){3}$"
_NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,62}$"
_KEY_PATTERN = r"^[A-Za-z0-9{][A-Za-z0-9_.{}-]*$"


def refuse(what: str, fix: str) -> NoReturn:
    """Refuse a value, in words."""
    raise PydanticCustomError("document", "{what}", {"what": what, "fix": fix})


def shown(value: object) -> str:
    """A value as a person wrote it, near enough, and not too long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    text = str(value)
    return f"'{text}'" if len(text) <= LONGEST_SHOWN else f"'{text[: LONGEST_SHOWN - 3]}...'"


def members(text: str) -> tuple[str, ...]:
    """The texts that ``text`` is spread into, refusing a bad range."""
    try:
        return expand(text)
    except SpreadError as error:
        refuse(error.what, error.fix)


def read_text(value: Any) -> str:
    """A text on one line, not empty."""
    if not isinstance(value, str):
        fix = "put quotes round it" if isinstance(value, (int, float)) else "write a text"
        refuse(f"{shown(value)} is not text", fix)
    if not value.strip():
        refuse("this text is empty", "write something, or remove the line")
    if _CONTROL.search(value) or len(value) > LONGEST_TEXT:
        refuse(f"this is no text of one line and at most {LONGEST_TEXT} characters", "shorten it")
    return value


def read_name(value: Any) -> str:
    """A name: letters, digits, ``_``, ``.`` and ``-``; each is in memory once."""
    text = read_text(value)
    if not _NAME.fullmatch(text):
        refuse(
            f"{shown(text)} is not a name",
            "use letters, digits, '-', '_' and '.', beginning with a letter or digit, at most 63",
        )
    return intern(text)


def _read_key(value: Any) -> str:
    """A name, or names with one range."""
    text = read_text(value)
    every = members(text)
    read_name(every[0])
    read_name(every[-1])
    return text


def read_slot(value: Any) -> str:
    """A device's own word for something; may be spread."""
    text = read_text(value)
    members(text)
    return text


def read_label(value: Any) -> str:
    """What a source shows: nothing at all, or a text; may be spread."""
    return "" if value == "" else read_slot(value)


def read_flag(value: Any) -> bool:
    """True or false, and nothing that looks like it."""
    if not isinstance(value, bool):
        refuse(f"{shown(value)} is neither true nor false", "write true or false")
    return value


def whole(low: int, high: int) -> Callable[[Any], int]:
    """A reader of whole numbers from ``low`` to ``high``."""

    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            refuse(f"{shown(value)} is not a whole number", f"write a number, {low} to {high}")
        if not low <= value <= high:
            refuse(f"{value} is not between {low} and {high}", f"write a number, {low} to {high}")
        return value

    return read


def read_seconds(value: Any) -> float:
    """Seconds, from 0 to one day."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value <= DAY_S:
        refuse(f"{shown(value)} is no time in seconds", "write a number of seconds, as in 2.5")
    return float(value)


def address_of(text: str) -> IPv4Address:
    """An IPv4 address in dotted quads; leading zeros are refused, as they mean octal to some."""
    try:
        return IPv4Address(text)
    except ipaddress.AddressValueError:
        refuse(
            f"{shown(text)} is not an IPv4 address",
            "write four numbers from 0 to 255 without leading zeros, as in 10.44.3.31",
        )


def read_address(value: Any) -> str:
    """An address, as canonical text."""
    return str(address_of(read_text(value)))


def read_address_range(value: Any) -> AddressRange:
    """An address, or two with a ``-`` between them."""
    first, dash, last = read_text(value).partition("-")
    low = address_of(first.strip())
    high = address_of(last.strip()) if dash else low
    if low > high:
        refuse(f"{shown(value)} runs backwards", f"write {high}-{low}")
    return AddressRange(low, high)


def read_subnet(value: Any) -> IPv4Network:
    """A subnet as ``10.44.3.0/24``."""
    text = read_text(value)
    address, slash, prefix = text.partition("/")
    first = address_of(address)
    if not slash or not re.fullmatch(r"[0-9]|[12][0-9]|3[0-2]", prefix):
        refuse(f"{shown(text)} has no prefix length", f"write {first}/24, or whatever it is")
    network = IPv4Network(f"{first}/{prefix}", strict=False)
    if network.network_address != first:
        refuse(f"{first} is an address inside {network}", f"write {network}")
    return network


def read_numbers(value: Any) -> NumberRange:
    """Channel numbers: ``1-2999``, or one number."""
    if isinstance(value, int) and not isinstance(value, bool):
        value = f"{value}-{value}"
    ends = number_range(read_text(value).replace(" ", ""))
    if ends is None:
        refuse(f"{shown(value)} is no range of numbers", "write first-last, as in 1-2999")
    if ends[0] > ends[1]:
        refuse(f"{shown(value)} runs backwards", f"write {ends[1]}-{ends[0]}")
    if ends[1] > HIGHEST_NUMBER:
        refuse(f"{ends[1]} is above {HIGHEST_NUMBER}, the highest number", "write a lower one")
    return NumberRange(*ends)


def _number_or_range(value: Any, words: str) -> int | NumberRange:
    if isinstance(value, int) and not isinstance(value, bool):
        return whole(1, HIGHEST_NUMBER)(value)
    if not isinstance(value, str) or number_range(value) is None:
        refuse(f"{shown(value)} is no channel number", f"write {words}")
    return read_numbers(value)


def read_planned_number(value: Any) -> int | NumberRange:
    """A source's number in the plan."""
    return _number_or_range(value, "a whole number from 1 on; no line at all if it is not known")


def read_asked_number(value: Any) -> int | NumberRange | Auto:
    """A source's number in a playbook."""
    if isinstance(value, str) and value in set(Auto):
        return Auto(value)
    return _number_or_range(value, "a whole number from 1 on, 'auto' or 'unassigned'")


def group_of(text: str, port: int | None = None) -> str:
    """A multicast group ``address:port``; without its own port and ``port`` it stays without."""
    address, colon, own = text.partition(":")
    where = address_of(address)
    if not where.is_multicast:  # RFC 5771, section 3: 224.0.0.0 to 239.255.255.255
        refuse(f"{where} is not a multicast address", "write one of 239.0.0.0 to 239.255.255.255")
    if not colon:
        return f"{where}:{port}" if port is not None else str(where)
    if not re.fullmatch(r"[1-9][0-9]{0,4}", own) or int(own) > HIGHEST_PORT:
        refuse(f"{shown(own)} is no port", f"write a number from 1 to {HIGHEST_PORT}")
    return f"{where}:{own}"


def read_group(value: Any) -> str:
    """A group, as it was written; may be spread."""
    text = read_text(value)
    for member in members(text):
        group_of(member)
    return text


def read_ref(value: Any) -> Ref:
    """``device/name``."""
    device, slash, name = read_text(value).partition("/")
    if not slash:
        refuse(f"{shown(value)} names no source or destination", "write device/name")
    return Ref(read_name(device), read_name(name))


def hearing(text: str | int, port: int | None = None) -> ListensTo:
    """What ``listens_to`` means; ``port`` completes a group that has none."""
    if isinstance(text, int):
        return ListensTo(number=whole(1, HIGHEST_NUMBER)(text))
    if text == "nothing":
        return ListensTo()
    if "/" in text:
        return ListensTo(source=read_ref(text))
    if re.fullmatch(r"[0-9]+", text):
        return ListensTo(number=whole(1, HIGHEST_NUMBER)(int(text[:10])))
    if re.match(r"[0-9]+\.", text):
        return ListensTo(group=group_of(text, port))
    refuse(
        f"{shown(text)} is nothing that can be listened to",
        "write device/source, a number, a group as 239.194.1.55:5004, or nothing",
    )


def _read_listens_to(value: Any) -> str | int:
    if isinstance(value, int) and not isinstance(value, bool):
        hearing(value)
        return value
    text = read_text(value)
    ends = number_range(text)
    if ends is not None:
        read_numbers(text)
        return text
    for member in members(text):
        hearing(member)
    return text


def read_until(value: Any) -> str:
    """A time with its offset from UTC (ISO 8601, as RFC 3339 section 5.6 profiles it)."""
    text = read_text(value)
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        time = None
    if time is None or time.tzinfo is None:
        refuse(
            f"{shown(text)} is no time with an offset from UTC",
            "write it as in 2026-03-01T06:00:00+00:00",
        )
    return text


def read_setting(value: Any) -> bool | int | float | str:
    """A setting's value: text, number, true or false."""
    if isinstance(value, (bool, int)) or (isinstance(value, float) and abs(value) < float("inf")):
        return value
    return read_text(value)


def _as_list(value: Any) -> Any:
    """One value may stand for a list of one."""
    return value if isinstance(value, list) else [value]


def _schema(kind: str, **more: Any) -> WithJsonSchema:
    return WithJsonSchema({"type": kind, **more})


def _either(*schemas: dict[str, Any]) -> WithJsonSchema:
    return WithJsonSchema({"anyOf": list(schemas)})


_NUMBER = {"type": "integer", "minimum": 1, "maximum": HIGHEST_NUMBER}
_NUMBERS = {"type": "string", "pattern": r"^[0-9]+ *- *[0-9]+$"}
_LISTENS = {"type": "string", "minLength": 1}

Text = Annotated[str, PlainValidator(read_text), _schema("string", minLength=1)]
Name = Annotated[str, PlainValidator(read_name), _schema("string", pattern=_NAME_PATTERN)]
KeyRange = Annotated[str, PlainValidator(_read_key), _schema("string", pattern=_KEY_PATTERN)]
Slot = Annotated[str, PlainValidator(read_slot), _schema("string", minLength=1)]
Label = Annotated[str, PlainValidator(read_label), _schema("string")]
Flag = Annotated[bool, PlainValidator(read_flag), _schema("boolean")]
Seconds = Annotated[
    float, PlainValidator(read_seconds), _schema("number", minimum=0, maximum=DAY_S)
]
Port = Annotated[
    int,
    PlainValidator(whole(1, HIGHEST_PORT)),
    _schema("integer", minimum=1, maximum=HIGHEST_PORT),
]
Count = Annotated[int, PlainValidator(whole(1, 1000)), _schema("integer", minimum=1, maximum=1000)]
Offset = Annotated[int, PlainValidator(whole(0, 999)), _schema("integer", minimum=0, maximum=999)]
HostPart = Annotated[int, PlainValidator(whole(0, HIGHEST_NUMBER)), _schema("integer", minimum=0)]
Number = Annotated[int, PlainValidator(whole(1, HIGHEST_NUMBER)), WithJsonSchema(_NUMBER)]
Address = Annotated[str, PlainValidator(read_address), _schema("string", pattern=_ADDRESS_PATTERN)]
Addresses = Annotated[
    AddressRange,
    PlainValidator(read_address_range),
    _schema("string", pattern=r"^[0-9.]+( *- *[0-9.]+)?$"),
]
Subnet = Annotated[
    IPv4Network, PlainValidator(read_subnet), _schema("string", pattern=r"^[0-9.]+/[0-9]{1,2}$")
]
Numbers = Annotated[NumberRange, PlainValidator(read_numbers), _either(_NUMBERS, _NUMBER)]
PlannedNumber = Annotated[
    int | NumberRange, PlainValidator(read_planned_number), _either(_NUMBER, _NUMBERS)
]
AskedNumber = Annotated[
    int | NumberRange | Auto,
    PlainValidator(read_asked_number),
    _either(_NUMBER, _NUMBERS, {"enum": [str(word) for word in Auto]}),
]
Group = Annotated[str, PlainValidator(read_group), _schema("string", pattern=r"^[0-9{][0-9.:{}]+$")]
Listens = Annotated[str | int, PlainValidator(_read_listens_to), _either(_LISTENS, _NUMBER)]
RefText = Annotated[Ref, PlainValidator(read_ref), _schema("string", pattern=r"^[^/]+/[^/]+$")]
Until = Annotated[str, PlainValidator(read_until), _schema("string", format="date-time")]
Setting = Annotated[
    bool | int | float | str,
    PlainValidator(read_setting),
    WithJsonSchema({"type": ["boolean", "number", "string"]}),
]


class OneOrMore:
    """Annotates a list whose one member may stand for it without brackets."""

    @staticmethod
    def __get_pydantic_core_schema__(source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Make a list of one value before it is checked."""
        return core_schema.no_info_before_validator_function(_as_list, handler(source))

    @staticmethod
    def __get_pydantic_json_schema__(
        schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Allow the one value in the schema too."""
        found = handler(schema)
        return {"anyOf": [found["items"], found]}
