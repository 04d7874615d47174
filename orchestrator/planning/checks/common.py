"""What every check of the documents shares: the finding, the report, and where things come from."""

from collections.abc import Collection, Hashable, Iterable, Iterator
from dataclasses import dataclass, field
from difflib import get_close_matches
from ipaddress import IPv4Address

from orchestrator.facility.numbering import Numbering
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.wanted import AskedDevice, Playbook

PLAN = "plan.yaml"
Path = tuple[str | int, ...]
_MOST_SUGGESTIONS = 50  # looking for the nearest of 10,000 names takes a while


@dataclass(frozen=True, slots=True, order=True)
class Finding:
    """Something that does not agree: in which document, at which path, what, and the fix.

    ``path`` is in the domain's words (``devices``, a device, ``sources``, a source, ``number``);
    a document may say the same shorter, by a key range or in a type.
    """

    document: str
    path: tuple[str | int, ...]
    what: str
    fix: str


@dataclass(slots=True)
class Report:
    """Gathers findings; the same fault as it is and as it is wanted is told once."""

    findings: list[Finding] = field(default_factory=list)
    _told: set[Hashable] = field(default_factory=set)
    _suggested: int = 0

    def add(
        self, where: tuple[str, Path], what: str, fix: str, key: Hashable | None = None
    ) -> None:
        """Add a finding at ``where``; ``key`` tells the same fault again (else ``what`` does)."""
        told = what if key is None else key
        if told not in self._told:
            self._told.add(told)
            self.findings.append(Finding(*where, what, fix))

    def nearest(self, word: str, known: Iterable[str], otherwise: str) -> str:
        """``write 'x'`` for the known name nearest to ``word``, or ``otherwise``."""
        self._suggested += 1
        if self._suggested > _MOST_SUGGESTIONS:
            return otherwise
        close = get_close_matches(word, list(known), n=1)
        return f"write '{close[0]}'" if close else otherwise


class Origins:
    """Which document asks for a thing: a playbook, or else the plan."""

    def __init__(self, playbooks: Collection[Playbook] = ()) -> None:
        self._asked: dict[tuple[str, Path], str] = {}
        for playbook in playbooks:
            for name, asked in playbook.devices.items():
                for path in asked_paths(asked):
                    self._asked[name, path] = playbook.file

    def where(self, device: str, *path: str | int) -> tuple[str, Path]:
        """The document and path that ``path`` of ``device`` comes from.

        An address's path ends in ``address`` in the plan and does not in a playbook; a group's
        ends in its leg.
        """
        playbook = self._asked.get((device, path[:1])) or self._asked.get((device, path[:3]))
        if path[:1] == ("interfaces",):
            playbook = self._asked.get((device, path[:2]))
            path = path if playbook is None else path[:2]
        return playbook or PLAN, ("devices", device, *path)


def asked_paths(asked: AskedDevice) -> Iterator[Path]:
    """The paths, from the device on, of all that a playbook says of a device."""
    yield from (("interfaces", name) for name in asked.addresses)
    for name, value in (
        ("reach_at", asked.reach_at),
        ("blocks", asked.blocks),
        ("numbers", asked.numbers),
    ):
        if value is not None:
            yield (name,)
    for source in asked.sources.values():
        for key in ("number", "groups", "label", "enabled"):
            if getattr(source, key) is not None:
                yield "sources", source.name, key
    for destination in asked.destinations.values():
        if destination.listens_to is not None:
            yield "destinations", destination.name, "listens_to"
    yield from (("settings", name) for name in asked.settings)


def whole(address: str) -> int:
    """An address (canonical dotted quads) as a number: quicker to make and to hash than objects."""
    first, second, third, fourth = address.split(".")
    return int(first) << 24 | int(second) << 16 | int(third) << 8 | int(fourth)


def quad(address: int) -> str:
    """A number as an address."""
    return str(IPv4Address(address))


def legs(plan: Plan, device: Device) -> tuple[str, ...]:
    """The networks on which a device's sources hold numbers, in the order of its legs.

    Those of its interfaces that number sources; a bench holds nothing of the facility. A device
    without an address is taken to be on its room's network.
    """
    names: list[str] = [interface.network for interface in device.interfaces]
    if not names:
        room = plan.rooms.get(device.room)
        names = [room.network] if room else []
    return tuple(dict.fromkeys(name for name in names if numbering_of(plan, name)))


def numbering_of(plan: Plan, name: str) -> Numbering | None:
    """The numbering of a network of the facility; None for a bench or an unknown one."""
    network = plan.networks.get(name)
    return None if network is None or network.bench else network.numbering


def own_blocks(plan: Plan, device: Device) -> tuple[int, ...]:
    """The host parts whose numbers a device owns.

    As given; else the host part of its first address on a network that numbers sources. Numbers
    begin with the host part, ten to a host, the next host's ten when one block is too small:
    common practice, no source.
    """
    if device.blocks:
        return device.blocks
    for interface in device.interfaces:
        rules = numbering_of(plan, interface.network)
        if rules is not None:
            network = plan.networks[interface.network]
            host = network.host_part(interface.address)
            return (host,) if 0 <= host < network.subnet.num_addresses else ()
    return ()
