"""Which interface of a node each leg stands on, and its address, gathered from all its streams.

IS-04 tells no addresses. The first leg's is the one that the streams are sent from or received at
(IS-05), else the one spoken to; a further leg's that of the streams, else the planned one. Groups
are held on the network of their leg, so a leg that stands on two interfaces at once is no leg.
"""

from collections.abc import Mapping

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.nmos import active as active_of
from orchestrator.adapters.nmos.node import Stream
from orchestrator.facility.description import Json


class Legs:
    """Gathers what the streams of one node say of their legs."""

    def __init__(self, spoken_to: str, planned: tuple[str, ...], names: tuple[str, ...]) -> None:
        self._usual = (spoken_to, *planned[1:])
        self._all_names = names
        self._names: list[dict[str, None]] = [{}]
        self._addresses: list[dict[str, None]] = [{}]

    def note(self, stream: Stream, active: Json, member: str) -> None:
        """Take in what one stream says."""
        for leg, params in enumerate(active_of.legs(active)):
            if leg == len(self._names):
                self._names.append({})
                self._addresses.append({})
            if leg < len(stream.bindings):
                self._names[leg][stream.bindings[leg]] = None
            address = active_of.address(params, member)
            if address is not None:
                self._addresses[leg][address] = None

    def interfaces(self) -> list[tuple[str, str]]:
        """Name and address of each leg's interface, in the order of the legs."""
        return [
            (self._name(leg), self._address(leg, found))
            for leg, found in enumerate(self._addresses)
        ]

    def _name(self, leg: int) -> str:
        bound = self._names[leg]
        if len(bound) > 1:
            names = " and ".join(bound)
            raise Unusable(f"leg {leg + 1} of its streams stands on {names}; it has to be one")
        others = {name for names in self._names for name in names}
        free = [name for name in self._all_names if name not in others]
        return next(iter(bound), free[leg] if leg < len(free) else f"leg-{leg + 1}")

    def _address(self, leg: int, found: Mapping[str, None]) -> str:
        if len(found) > 1:
            raise Unusable(
                f"leg {leg + 1} of its streams has several addresses: {', '.join(found)}"
            )
        if found or leg < len(self._usual):
            return next(iter(found), self._usual[leg] if leg < len(self._usual) else "")
        raise Unusable(f"leg {leg + 1} of its streams has no address that it or the plan tells")
