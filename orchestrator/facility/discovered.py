"""Nodes that were heard of without being asked by name: from a registry, or announced by DNS-SD."""

from dataclasses import dataclass

from orchestrator.facility.found import Identity


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardOf:
    """One node: its own id, who it says it is, its label, and the hosts at which it says it is.

    ``hosts`` are addresses or names, without ports. ``told_by`` says in words who told of it.
    """

    id: str
    identity: Identity
    label: str
    hosts: tuple[str, ...]
    told_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """One service announced by DNS-SD (RFC 6763): what kind, its name, and where it answers.

    ``addresses`` are IPv4. ``text`` holds its TXT record.
    """

    kind: str
    name: str
    addresses: tuple[str, ...]
    port: int
    text: dict[str, str]
