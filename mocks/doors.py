"""Where a simulated device's address is found on this computer: as itself, or on a mapped port.

``Aliases``: an address is itself, on the loopback network, at the world's port and whatever other
ports a device has (Linux answers at all of 127.0.0.0/8). ``Ports``: every address has one port of
its own on 127.0.0.1, for computers where only that one is there. A port belongs to the *address*,
not to the device, so the map stays right when a device moves: the port of the address that it left
refuses, and the port of its new address answers. A port is kept from the first time somebody asks
for its address: a bound socket that does not listen holds it, and refuses as a closed port does.
"""

import socket
from collections.abc import Iterable, Iterator, Mapping
from ipaddress import IPv4Address

LOCALHOST = "127.0.0.1"
BACKLOG = 64


class CannotListen(OSError):
    """An address can't be listened at; the message says which, and what to do."""


class Aliases:
    """Every address is itself, at one port. Port 0: one that is free is picked at the first."""

    def __init__(self, port: int) -> None:
        self.port = port

    def ports(self, more: tuple[int, ...]) -> tuple[int | None, ...]:
        """The ports at which a device is to be found that has ``more``; None: the common one."""
        return (None, *more)

    def open(self, address: str, port: int | None = None) -> socket.socket:
        """A listening socket for an address, at the common port or another.

        Raises:
            CannotListen: not on the loopback network, not there, or in use.
        """
        if not IPv4Address(address).is_loopback:
            raise CannotListen(f"{address} is not a loopback address; use a connect map")
        found = _bound(address, self.port if port is None else port)
        if port is None:
            self.port = found.getsockname()[1]
        found.listen(BACKLOG)
        return found

    def closed(self, address: str) -> None:
        """Nothing more is to be held for an address."""

    def close(self) -> None:
        """Let everything go."""

    def where(self, address: str) -> tuple[str, int]:
        """Host and port at which an address is found."""
        return address, self.port


class Ports(Mapping[str, str]):
    """A port on 127.0.0.1 for every address: also the mapping address -> "127.0.0.1:port".

    Looking an address up gives it a port, if it has none; it keeps it until ``close``.
    """

    def __init__(self, addresses: Iterable[str] = ()) -> None:
        self._held: dict[str, socket.socket] = {}
        self._port: dict[str, int] = {}
        for address in addresses:
            self.where(address)

    def ports(self, _more: tuple[int, ...]) -> tuple[int | None, ...]:
        """One port stands for all of an address's; which is meant, the Host header tells."""
        return (None,)

    def open(self, address: str, _port: int | None = None) -> socket.socket:
        """A listening socket for an address.

        Raises:
            CannotListen: no port is left.
        """
        self.where(address)
        found = self._held.pop(address)
        found.listen(BACKLOG)
        return found

    def closed(self, address: str) -> None:
        """Hold the port of an address whose listening socket was closed."""
        self._held[address] = _bound(LOCALHOST, self._port[address])

    def close(self) -> None:
        """Let all ports go."""
        for held in self._held.values():
            held.close()
        self._held.clear()

    def where(self, address: str) -> tuple[str, int]:
        """Host and port at which an address is found.

        Raises:
            CannotListen: no port is left.
        """
        if address not in self._port:
            held = _bound(LOCALHOST, 0)
            self._held[address] = held
            self._port[address] = held.getsockname()[1]
        return LOCALHOST, self._port[address]

    def __getitem__(self, address: str) -> str:
        host, port = self.where(str(IPv4Address(address)))
        return f"{host}:{port}"

    def __iter__(self) -> Iterator[str]:
        return iter(tuple(self._port))

    def __len__(self) -> int:
        return len(self._port)


def _bound(address: str, port: int) -> socket.socket:
    # The protocol is named, or asyncio leaves Nagle's algorithm on and each answer takes 40 ms.
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        found.bind((address, port))
    except OSError as error:
        found.close()
        raise CannotListen(
            f"can't listen at {address}:{port} ({error.strerror}); stop whatever listens there, "
            "or use a connect map"
        ) from error
    return found
