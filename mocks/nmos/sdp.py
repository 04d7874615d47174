"""Session descriptions (RFC 8866) of a simulated NMOS node's senders, and what a receiver reads.

A leg is one media section; two legs are duplicates of each other (RFC 7104).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import AddressValueError, IPv4Address

MEDIA_TYPE = "application/sdp"
PAYLOAD_TYPE = 98
TTL = 32


@dataclass(frozen=True, slots=True)
class Leg:
    """Where one leg's packets come from and go to; ``source`` "" if it is not told.

    ``mac`` is that of the interface that it leaves by, whose clock it follows (RFC 7273, 4.7).
    """

    source: str
    group: str
    port: int
    mac: str = ""


def describe(name: str, session: int, version: int, legs: Sequence[Leg]) -> str:
    """The session description of a stereo stream, 48 kHz, 24 bits, a packet each millisecond."""
    lines = [
        "v=0",
        f"o=- {session} {version} IN IP4 {legs[0].source}",
        f"s={name or ' '}",
        "t=0 0",
    ]
    if len(legs) > 1:
        lines.append("a=group:DUP " + " ".join(_mid(leg) for leg in range(len(legs))))
    for number, leg in enumerate(legs):
        lines += [
            f"m=audio {leg.port} RTP/AVP {PAYLOAD_TYPE}",
            f"c=IN IP4 {_connection(leg.group)}",
            f"a=source-filter: incl IN IP4 {leg.group} {leg.source}",
            f"a=rtpmap:{PAYLOAD_TYPE} L24/48000/2",
            "a=ptime:1",
            f"a=ts-refclk:localmac={leg.mac.upper()}",
            "a=mediaclk:direct=0",
        ]
        if len(legs) > 1:
            lines.append(f"a=mid:{_mid(number)}")
    return "\r\n".join(lines) + "\r\n"


def read(text: str) -> list[Leg]:
    """The legs of a session description.

    Raises:
        ValueError: it makes no sense, or has no audio in it.
    """
    if not text.startswith("v=0"):
        raise ValueError("no session description")
    session, *sections = text.replace("\r\n", "\n").split("\nm=")
    legs = [_leg(section, session) for section in sections]
    if not legs:
        raise ValueError("no media in the session description")
    return legs


def _leg(section: str, session: str) -> Leg:
    kind, port, *_ = [*section.split("\n", 1)[0].split(), "", ""]
    if kind not in ("audio", "video", "application") or not port.isdecimal():
        raise ValueError(f"no media line: {section[:30]}")
    connection = _line("c=IN IP4 ", section) or _line("c=IN IP4 ", session)
    try:
        group = str(IPv4Address(connection.partition("/")[0]))
    except AddressValueError as error:
        raise ValueError("no connection address") from error
    source = (_line("a=source-filter:", section) or _line("a=source-filter:", session)).split()
    return Leg(source[-1] if source else "", group, int(port))


def _line(start: str, text: str) -> str:
    return next(
        (line.removeprefix(start) for line in text.split("\n") if line.startswith(start)), ""
    )


def _connection(group: str) -> str:
    """Only a multicast address has a TTL (RFC 8866, 5.7)."""
    return f"{group}/{TTL}" if IPv4Address(group).is_multicast else group


def _mid(leg: int) -> str:
    return "primary" if leg == 0 else "secondary"
