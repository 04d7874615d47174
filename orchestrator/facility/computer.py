"""This computer as a network sees it: its interfaces and the routes that it takes."""

from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Interface, IPv4Network


@dataclass(frozen=True, slots=True)
class Attached:
    """One IPv4 address of one of this computer's interfaces, with its prefix length."""

    interface: str
    address: IPv4Interface


@dataclass(frozen=True, slots=True)
class Route:
    """What is meant for ``to`` leaves by ``interface``, to ``gateway`` where there is one."""

    to: IPv4Network
    interface: str
    gateway: IPv4Address | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Computer:
    """The addresses of interfaces that are up; ``routes`` is None where they can't be read."""

    attached: tuple[Attached, ...]
    routes: tuple[Route, ...] | None
