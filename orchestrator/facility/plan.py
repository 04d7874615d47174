"""The plan: the facility's master record, as it is."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from ipaddress import IPv4Address, IPv4Network
from typing import NamedTuple

from orchestrator.facility.numbering import Numbering
from orchestrator.facility.quick import quick
from orchestrator.facility.trust import Tls


class Ref(NamedTuple):
    """A source or destination by name: ``device/name``."""

    device: str
    name: str

    def __str__(self) -> str:
        return f"{self.device}/{self.name}"


def ref_to(device: str, name: str) -> Ref:
    """The source or destination ``name`` of ``device``; as :func:`refs_of`, which see."""
    return tuple.__new__(Ref, (device, name))


def refs_of(device: str, names: Iterable[str]) -> list[Ref]:
    """The sources or destinations ``names`` of one device.

    A named tuple is made by a function in Python, which takes thrice as long as the tuple itself.
    """
    new = tuple.__new__
    return [new(Ref, (device, name)) for name in names]


@dataclass(frozen=True, slots=True)
class AddressRange:
    """Addresses from ``first`` to ``last``, both included."""

    first: IPv4Address
    last: IPv4Address

    def __contains__(self, address: object) -> bool:
        return isinstance(address, IPv4Address) and self.first <= address <= self.last

    def __str__(self) -> str:
        return str(self.first) if self.first == self.last else f"{self.first}-{self.last}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """One network: its subnet, what to keep clear of, what is set aside, how it numbers.

    A ``bench`` network is a cable to one unit, apart from the facility. ``numbering`` is None on
    a bench and on networks that carry no audio.
    """

    name: str
    subnet: IPv4Network
    gateway: IPv4Address | None = None
    keep_clear: tuple[AddressRange, ...] = ()
    transit: tuple[AddressRange, ...] = ()
    numbering: Numbering | None = None
    bench: bool = False

    def host_part(self, address: str) -> int:
        """The host part of ``address``: its distance from the subnet's first address."""
        return int(IPv4Address(address)) - int(self.subnet.network_address)


@dataclass(frozen=True, slots=True)
class Room:
    """A room: its site and the network that its devices join unless they say otherwise."""

    name: str
    site: str
    network: str


@dataclass(frozen=True, slots=True)
class Interface:
    """One network interface of a device, as planned; ``slot`` is the device's own name for it."""

    name: str
    network: str
    address: str
    slot: str | None = None


@quick
@dataclass(frozen=True, slots=True)
class ListensTo:
    """What a destination listens to: a source, a number, a group, or (all None) nothing.

    A number means the number and is not followed when its source moves; a source is followed.
    """

    source: Ref | None = None
    number: int | None = None
    group: str | None = None

    def __str__(self) -> str:
        for value in (self.source, self.number, self.group):
            if value is not None:
                return str(value)
        return "nothing"


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSource:
    """A source as the plan knows it; None means that the plan does not say.

    ``slot`` is the device's own name for it where that differs. ``also_heard_by`` names listeners
    that the tool can't see, in words.
    """

    name: str
    slot: str | None = None
    number: int | None = None
    groups: tuple[str, ...] | None = None
    label: str | None = None
    enabled: bool | None = None
    also_heard_by: tuple[str, ...] = ()


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedDestination:
    """A destination as the plan knows it; ``listens_to`` None means that the plan does not say."""

    name: str
    slot: str | None = None
    listens_to: ListensTo | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How one service of a device is reached: ``scheme`` http or https; ``port`` None: its own."""

    scheme: str = "https"
    port: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A device as the plan knows it, its type's values already filled in.

    ``blocks`` are host parts whose numbers it owns. ``numbers`` are further numbers that it owns
    (a device that the tool does not speak to). ``speaks`` names its device description(s).
    ``off_limits`` says why it may not be touched. ``credentials`` is a name in the keyring.
    ``port`` is where its own API answers, if it needs no device description and the port is not
    the usual one, and ``scheme`` http or https; ``restconf`` the same for RESTCONF, which may stand
    beside another way. ``tls`` says what its certificate is judged by.
    """

    name: str
    room: str
    interfaces: tuple[Interface, ...]
    speaks: tuple[str, ...] = ()
    blocks: tuple[int, ...] = ()
    numbers: tuple[int, ...] = ()
    serial: str | None = None
    credentials: str | None = None
    off_limits: str | None = None
    port: int | None = None
    scheme: str = "http"
    tls: Tls = field(default_factory=Tls)
    restconf: Reach = field(default_factory=Reach)
    sources: Mapping[str, PlannedSource] = field(default_factory=dict)
    destinations: Mapping[str, PlannedDestination] = field(default_factory=dict)

    @property
    def address(self) -> str:
        """The address of its first interface: where the tool speaks to it."""
        return self.interfaces[0].address


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The whole facility, as it is.

    ``time_zone`` is an IANA name. ``tls`` holds where nothing nearer to a device says more.
    """

    facility: str
    networks: Mapping[str, Network]
    rooms: Mapping[str, Room]
    devices: Mapping[str, Device]
    on_air: tuple[Ref, ...] = ()
    time_zone: str | None = None
    tls: Tls | None = None
    _known: dict[str, Network | None] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def only(self, names: Iterable[str]) -> "Plan":
        """The plan as if it had no devices but those named."""
        devices = {name: self.devices[name] for name in names}
        part = replace(
            self, devices=devices, on_air=tuple(r for r in self.on_air if r[0] in devices)
        )
        part._known.update(self._known)  # noqa: SLF001 - of its own class
        return part

    def network_of(self, address: str) -> Network | None:
        """The network whose subnet holds ``address``; a facility network before a bench."""
        if address not in self._known:
            self._known[address] = self._network_of(IPv4Address(address))
        return self._known[address]

    def _network_of(self, where: IPv4Address) -> Network | None:
        bench: Network | None = None
        for network in self.networks.values():
            if where in network.subnet:
                if not network.bench:
                    return network
                bench = bench or network
        return bench
