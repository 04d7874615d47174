"""A handle on one device of a simulated world, to edit it by hand.

Every method answers the handle again, so that edits can be chained.
"""

from dataclasses import replace
from typing import Protocol

from mocks.device import Device
from mocks.journal import Cause
from mocks.state import Destination, Lan, Source, State, checked_group, checked_lan, derived_group


class Editable(Protocol):
    """What a handle needs of a world."""

    def machine(self, name: str) -> Device:
        """The device itself."""

    def alter(self, name: str, running: State, cause: Cause) -> None:
        """Put a device into a state."""


class Handle:
    """One device, edited for one cause: building the world, or another hand at work."""

    def __init__(self, world: Editable, name: str, cause: Cause) -> None:
        self._world = world
        self._name = name
        self._cause = cause
        world.machine(name)

    @property
    def running(self) -> State:
        """What runs on the device now."""
        return self._world.machine(self._name).memory.running

    @property
    def saved(self) -> State:
        """What a power cycle would bring back."""
        return self._world.machine(self._name).memory.saved

    @property
    def address(self) -> str:
        """The address at which the device stands now."""
        return self.running.lan.address

    def source(self, slot: str) -> Source:
        """The running source in a slot.

        Raises:
            KeyError: no such slot.
        """
        return self.running.sources[slot]

    def destination(self, slot: str) -> Destination:
        """The running destination in a slot.

        Raises:
            KeyError: no such slot.
        """
        return self.running.destinations[slot]

    def set_source(
        self,
        slot: str,
        *,
        number: int | None = None,
        group: str | None = None,
        label: str | None = None,
        enabled: bool | None = None,
    ) -> "Handle":
        """Set what is given of a source. A number alone brings the group that stands for it.

        Raises:
            KeyError: no such slot.
            ValueError: no multicast group.
        """
        now = self.source(slot)
        wanted = derived_group(number) if group is None and number is not None else group
        after = Source(
            now.number if number is None else number,
            now.group if wanted is None else checked_group(wanted),
            now.label if label is None else label,
            now.enabled if enabled is None else enabled,
        )
        return self._alter(self.running.with_source(slot, after))

    def set_destination(
        self, slot: str, *, number: int | None = None, group: str | None = None
    ) -> "Handle":
        """Point a destination at a number or a group, whichever its make listens by.

        Raises:
            KeyError: no such slot.
            ValueError: the make does not listen so; or no multicast group.
        """
        now = self.destination(slot)
        by = self._world.machine(self._name).listens_by
        if (number is None) == (by == "number") or (group is None) == (by == "group"):
            raise ValueError(f"{self._name} listens by {by}: give that, and nothing else")
        where = Destination(number or 0, checked_group(group or derived_group(number or 0)))
        return self._alter(self.running.with_destination(slot, replace(where, label=now.label)))

    def set_setting(self, name: str, value: int) -> "Handle":
        """Set one setting of the device itself.

        Raises:
            KeyError: no such setting.
        """
        if name not in self.running.settings:
            raise KeyError(name)
        return self._alter(self.running.with_settings(**{name: value}))

    def set_address(
        self, address: str, prefix: int | None = None, gateway: str | None = None
    ) -> "Handle":
        """Move the device to another address, at once; the prefix stays unless given.

        Raises:
            ValueError: it makes no sense.
        """
        lan: Lan = checked_lan(address, prefix or self.running.lan.prefix, gateway)
        return self._alter(replace(self.running, lan=lan))

    def _alter(self, running: State) -> "Handle":
        self._world.alter(self._name, running, self._cause)
        return self
