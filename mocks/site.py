"""What the simulated world is like apart from its devices: networks, and what is said of them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from ipaddress import IPv4Address, IPv4Network


@dataclass(frozen=True, slots=True)
class Span:
    """A range of numbers or addresses, both ends included."""

    first: int
    last: int

    def __contains__(self, value: int) -> bool:
        return self.first <= value <= self.last


@dataclass(frozen=True, slots=True)
class Network:
    """One network: its subnet, whether it is a bench, and what is set aside as transit."""

    name: str
    subnet: IPv4Network
    bench: bool = False
    transit_numbers: tuple[Span, ...] = ()
    transit_addresses: tuple[Span, ...] = ()

    def is_transit_number(self, number: int) -> bool:
        """Whether a channel number is set aside as transit."""
        return any(number in span for span in self.transit_numbers)

    def is_transit_address(self, address: str) -> bool:
        """Whether an address is set aside as transit."""
        return any(int(IPv4Address(address)) in span for span in self.transit_addresses)


@dataclass(frozen=True, slots=True)
class Site:
    """The networks, and what the facility says of its devices.

    ``off_limits`` are devices; ``on_air`` destinations (device/slot); ``meant`` gives for a
    destination the sources that it may come to hear.
    """

    networks: tuple[Network, ...]
    off_limits: frozenset[str] = frozenset()
    on_air: frozenset[str] = frozenset()
    meant: Mapping[str, frozenset[str]] = field(default_factory=dict)

    def network(self, address: str) -> Network | None:
        """The network that an address is on; the narrowest, if there are several."""
        host = IPv4Address(address)
        fitting = (network for network in self.networks if host in network.subnet)
        return max(fitting, key=lambda network: network.subnet.prefixlen, default=None)

    def facility(self, address: str) -> Network | None:
        """The network that an address is on, unless that is a bench (or none)."""
        network = self.network(address)
        return None if network is None or network.bench else network


def addresses_of(spans: Iterable[Span]) -> Iterable[str]:
    """Every address in some ranges of addresses."""
    for span in spans:
        for value in range(span.first, span.last + 1):
            yield str(IPv4Address(value))
