"""How long each source, and each listener of the survey, is silent in a rehearsal."""

from collections.abc import Iterable, Mapping

from orchestrator.facility.plan import Ref
from orchestrator.rehearsal.holdings import Holdings, Thing
from orchestrator.rehearsal.unit import Unit


class Silences:
    """Watches every source that was on in the facility, and every destination that heard one.

    A source is silent while it is off, or its unit answers nobody; a listener while all that it is
    pointed at is. ``longest`` has the longest silence of each that came back, in seconds.
    """

    def __init__(self, holdings: Holdings, units: Mapping[str, Unit]) -> None:
        self._holdings = holdings
        self._units = units
        self.longest: dict[str, float] = {}
        self._since: dict[str, float] = {}
        listening = (ref for ref in holdings.destinations() if holdings.pointed(ref))
        self._listeners = frozenset(listening)
        held = {owner for _, owners in holdings.things() for owner in owners}
        self._sources = frozenset(
            owner
            for unit in units.values()
            for name, source in unit.running.sources.items()
            if source.enabled and (owner := f"{unit.name}/{name}") in held
        )

    @property
    def now(self) -> tuple[str, ...]:
        """What is silent now, in the order in which it fell silent."""
        return tuple(self._since)

    def look(self, unit: Unit, things: Iterable[Thing], now: float) -> None:
        """See what became silent or came back with ``unit``, at ``now`` seconds."""
        refs = {Ref(unit.name, name) for name in unit.running.destinations}
        heard = set(things)
        for name in unit.running.sources:
            owner = f"{unit.name}/{name}"
            if owner in self._sources:
                self._note(owner, sounds=self._sounds(owner), now=now)
        heard |= {thing for thing, owner in self._holdings.of_unit(unit) if owner in self._sources}
        refs = refs.union(*(self._holdings.listeners(thing) for thing in heard))
        for ref in refs & self._listeners:
            self._note(str(ref), sounds=self._hears(ref), now=now)

    def _hears(self, ref: Ref) -> bool:
        return any(self._sounds(source) for source in self._holdings.pointed(ref))

    def _sounds(self, owner: str) -> bool:
        name, _, source = owner.partition("/")
        unit = self._units.get(name)
        if unit is None:
            return True  # not found, so nothing is known of it but that nobody touches it
        held = unit.running.sources.get(source)
        return held is not None and held.enabled and not unit.silent

    def _note(self, name: str, *, sounds: bool, now: float) -> None:
        if not sounds:
            self._since.setdefault(name, now)
        elif name in self._since:
            lasted = now - self._since.pop(name)
            self.longest[name] = max(lasted, self.longest.get(name, 0.0))
