"""What a session description (RFC 8866) says of where a stream's packets go, leg by leg.

Only that is read: a receiver is given the whole text as its sender wrote it, and reads the rest.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from ipaddress import AddressValueError, IPv4Address

from orchestrator.adapters.http.json_pointer import Unusable

MEDIA_TYPE = "application/sdp"


@dataclass(frozen=True, slots=True)
class Described:
    """One leg: its group as ``address:port``, and the sender's address where that is told."""

    group: str
    source: str | None = None


def described(text: str) -> tuple[Described, ...]:
    """The legs of a session description, in the order in which it groups them (RFC 7104).

    Raises:
        Unusable: it is none, or a leg of it goes to no IPv4 address.
    """
    lines = text.replace("\r\n", "\n").split("\n")
    if lines[0] != "v=0":
        raise Unusable("it is no session description")
    session, *media = _sections(lines)
    if not media:
        raise Unusable("its session description has no media")
    by_name = {_value(section, "a=mid:") or str(at): section for at, section in enumerate(media)}
    order = [name for name in _value(session, "a=group:DUP ").split() if name in by_name]
    ordered = [by_name[name] for name in order] or media[:1]
    return tuple(_leg(section, session) for section in ordered)


def _sections(lines: list[str]) -> list[list[str]]:
    found: list[list[str]] = [[]]
    for line in lines:
        if line.startswith("m="):
            found.append([])
        found[-1].append(line)
    return found


def _leg(section: list[str], session: list[str]) -> Described:
    fields = section[0].split()
    port = fields[1].partition("/")[0] if len(fields) > 1 else ""
    connection = _value(section, "c=IN IP4 ") or _value(session, "c=IN IP4 ")
    try:
        address = IPv4Address(connection.partition("/")[0])
    except AddressValueError:
        raise Unusable("its session description names no IPv4 address") from None
    if not port.isascii() or not port.isdecimal():
        raise Unusable("its session description names no port")
    return Described(f"{address}:{int(port)}", _source(section, session, str(address)))


def _source(section: list[str], session: list[str], address: str) -> str | None:
    """The one address that a source filter lets through (RFC 4570)."""
    for line in (*_values(section, "a=source-filter:"), *_values(session, "a=source-filter:")):
        match line.split():
            case ["incl", "IN", "IP4", to, source] if to in {address, "*"}:
                try:
                    return str(IPv4Address(source))
                except AddressValueError:
                    return None
            case _:
                continue
    return None


def _values(lines: list[str], start: str) -> Iterator[str]:
    return (line.removeprefix(start) for line in lines if line.startswith(start))


def _value(lines: list[str], start: str) -> str:
    return next(_values(lines, start), "").strip()
