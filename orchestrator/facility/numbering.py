"""Channel numbers: which a device owns, and the multicast group that each streams to."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from ipaddress import AddressValueError, IPv4Address, IPv4Network


@dataclass(frozen=True, slots=True, order=True)
class NumberRange:
    """Channel numbers from ``first`` to ``last``, both included."""

    first: int
    last: int

    def __contains__(self, number: object) -> bool:
        return isinstance(number, int) and self.first <= number <= self.last

    def __iter__(self) -> Iterator[int]:
        return iter(range(self.first, self.last + 1))

    def __len__(self) -> int:
        return max(0, self.last - self.first + 1)

    def __str__(self) -> str:
        return f"{self.first}-{self.last}"


@dataclass(frozen=True, kw_only=True)
class Numbering:
    """How one network numbers its sources.

    Numbers begin with the host part of the address (host 31, ten numbers to a host: 310-319); a
    device with more sources than one block holds takes the next host's too. Common practice, no
    source.
    """

    numbers: NumberRange
    numbers_per_host: int
    first_in_block: int
    group_range: IPv4Network
    port: int
    transit: NumberRange | None = None

    def block(self, host: int) -> NumberRange:
        """All numbers that belong to host part ``host``."""
        first = host * self.numbers_per_host
        return NumberRange(first, first + self.numbers_per_host - 1)

    def usable(self, host: int) -> NumberRange:
        """The numbers of ``host``'s block that sources get: from its ``first_in_block`` on."""
        block = self.block(host)
        return NumberRange(block.first + self.first_in_block, block.last)

    @cached_property
    def _span(self) -> tuple[int, int]:
        """The first address of the group range as a whole number, and how many it has."""
        return int(self.group_range.network_address), self.group_range.num_addresses

    def has_group(self, number: int) -> bool:
        """Whether ``number`` has an address in the group range."""
        return 0 <= number < self._span[1]

    def group(self, number: int) -> str:
        """The group of ``number`` as ``address:port``: the number-th address of the group range.

        Raises:
            ValueError: the group range is too small for ``number``.
        """
        first, size = self._span
        if not 0 <= number < size:
            raise ValueError(f"number {number} has no address in {self.group_range}")
        a, b, c, d = (first + number).to_bytes(4, "big")
        return f"{a}.{b}.{c}.{d}:{self.port}"

    def number_of(self, group: str) -> int | None:
        """The number whose group is ``group``; None if the rule gives that group to none."""
        try:
            number = int(IPv4Address(group.partition(":")[0])) - int(self.group_range[0])
        except AddressValueError:
            return None
        well = number in self.numbers and self.has_group(number)
        return number if well and self.group(number) == group else None

    def number_of_legs(self, groups: Iterable[str | None]) -> int | None:
        """The number that ``groups``, one a leg, stand for; None for none, or for two numbers."""
        numbers = {self.number_of(group) for group in groups if group is not None} - {None}
        return numbers.pop() if len(numbers) == 1 else None
