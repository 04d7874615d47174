"""Looks on while a rehearsal goes on, and says which safety rule is broken, when and by what.

It knows the rules, the facility as it was found, and what every kind of step does; it has seen
neither how the sequence was made nor its proof.

- H1, H2: no two hold one number, group or address on one network; nothing is moved onto an
  address that an absent device was last known at.
- H3: a source is renumbered only while it is off.
- H4: a device is readdressed only while all its sources are off, and then nothing of its sources
  is renumbered, switched off or labelled; nothing is switched on in transit.
- H5: after a readdress nothing is written before the device was read at its new address.
- H6: nothing off limits is written to, nothing on air is silenced, without a release.
- H7: a write reaches the device meant, right after a read that found what the step expects.
- H8: no destination hears a source that it neither heard before nor is meant to hear.
- H9: nobody takes what another would boot with.

What was so before the run is not its doing; nor is what another hand does.
"""

from collections.abc import Iterable, Iterator, Mapping
from ipaddress import IPv4Address
from itertools import combinations

from orchestrator.facility.found import DeviceState
from orchestrator.facility.plan import Network, Ref
from orchestrator.facility.step import Assigned, Hearing, Step, StepKind
from orchestrator.rehearsal.holdings import RUNS, Holdings, Thing, thing_words
from orchestrator.rehearsal.premises import Premises
from orchestrator.rehearsal.unit import Unit
from orchestrator.running.present import put

_OF_A_SOURCE = frozenset({StepKind.RENUMBER, StepKind.DISABLE})


class Judge:
    """Keeps ``broken``: every broken rule, in words. Told of each act as it happens."""

    def __init__(self, premises: Premises, holdings: Holdings, units: Mapping[str, Unit]) -> None:
        self.broken: list[str] = []
        self._said: set[tuple[str, str]] = set()
        self._premises = premises
        self._holdings = holdings
        self._units = units
        self._read: dict[str, tuple[str, bool]] = {}
        self._moved: set[str] = set()
        self._unconfirmed: set[str] = set()
        self._before = {thing: set(owners) for thing, owners in holdings.things()}
        self._may_hear = {ref: set(self._at_first(ref)) for ref in self._every_destination()}
        self._on_air = {ref: holdings.pointed(ref) for ref in premises.plan.on_air}

    # what is asked of the devices

    def read(self, step: Step, unit: Unit) -> None:
        """A read for ``step`` reached the unit meant, and it told who it is."""
        self._read[step.device] = (step.id, _as_found(step, unit.running))
        if step.kind is StepKind.CONFIRM:
            self._unconfirmed.discard(step.device)

    def sent(self, step: Step, unit: Unit | None) -> None:
        """A write of ``step`` was sent, and ``unit`` stands where it went."""
        name, device = step.id, step.device
        if unit is not None and unit.name != device:
            self._say("H7", f"{name} was written to {unit.name} instead of {device}")
        if self._read.pop(device, None) != (name, True):
            self._say("H7", f"{name} was written without a read that found what it expects")
        if device in self._unconfirmed:
            self._say("H5", f"{name} was written before {device} was confirmed at its new address")
        limits = self._premises.plan.devices[device].off_limits
        if limits is not None and device not in self._premises.released:
            self._say("H6", f"{name} was written to {device}, which is off limits: {limits}")

    def lands(self, step: Step, unit: Unit) -> None:
        """``step`` is about to take effect on ``unit``."""
        source = unit.running.sources.get(step.source or "")
        in_facility = any(
            self._holdings.network(held.address) for held in unit.running.interfaces.values()
        )
        renumbers = step.kind is StepKind.RENUMBER and isinstance(step.wanted, Assigned)
        if renumbers and source is not None and source.enabled and in_facility:
            self._say("H3", f"{step.id} renumbers {step.subject} while it is on")
        labels = step.kind is StepKind.SET and step.source is not None
        if (labels or step.kind in _OF_A_SOURCE) and unit.name in self._moved and in_facility:
            self._say("H4", f"{step.id} changes {step.subject} after its device was readdressed")
        if step.kind is StepKind.READDRESS:
            on = [name for name, held in unit.running.sources.items() if held.enabled]
            if on and in_facility:
                self._say("H4", f"{step.id} readdresses {unit.name} while {', '.join(on)} is on")
            self._moved.add(unit.name)
            self._unconfirmed.add(unit.name)
        if step.kind is StepKind.ENABLE and source is not None:
            self._in_transit(step, unit, source.number)

    def rebooted(self, unit: Unit) -> None:
        """A unit came back with what it had saved: its old address needs no confirm."""
        self._unconfirmed.discard(unit.name)
        self._moved.discard(unit.name)

    def changed(self, unit: Unit, because: str, *, own: bool = True) -> frozenset[Thing]:
        """Look at all that changed with ``unit``; ``own``: it is the run's doing.

        Returns:
            Every thing that was touched.
        """
        things = self._holdings.update(unit)
        heard = self._concerned(unit, things)
        if own:
            for thing in things:
                self._one_owner(thing, because)
            for ref in heard:
                self._hears_only_what_it_may(ref, because)
            self._nothing_on_air_silenced(because)
        else:
            self._forgive(things, heard)
        for thing in things & self._before.keys():
            self._before[thing] &= set(self._holdings.owners(thing))
        return things

    # the rules

    def _say(self, rule: str, what: str, because: str = "") -> None:
        if (rule, what) not in self._said:
            self._said.add((rule, what))
            self.broken.append(f"{rule}: {what}{f' ({because})' if because else ''}")

    def _one_owner(self, thing: Thing, because: str) -> None:
        owners = self._holdings.owners(thing)
        for one, other in combinations(sorted(owners), 2):
            same_unit = one.split("/")[0] == other.split("/")[0]
            if {one, other} <= self._before.get(thing, set()):
                continue
            if same_unit and not owners[one] & owners[other]:
                continue  # a power cycle brings back all of a unit at once
            both_run = RUNS in owners[one] and RUNS in owners[other]
            rule = "H9" if not both_run else "H2" if thing[0] == "address" else "H1"
            how = "is held by" if both_run else "is held, or would be after a power cycle, by"
            self._say(rule, f"{thing_words(thing)} {how} {one} and {other}", because)

    def _hears_only_what_it_may(self, ref: Ref, because: str) -> None:
        for source in sorted(self._holdings.pointed(ref) - self._may_hear.get(ref, set())):
            self._say("H8", f"{ref} hears {source}, which it should not", because)

    def _nothing_on_air_silenced(self, because: str) -> None:
        for ref, sources in self._on_air.items():
            if not sources or sources & self._holdings.pointed(ref):
                continue
            named = {str(ref), ref.device, *sources, *(one.split("/")[0] for one in sources)}
            if not named & self._premises.released:
                self._say("H6", f"{ref} is on air and went silent", because)

    def _in_transit(self, step: Step, unit: Unit, number: int | None) -> None:
        for held in unit.running.interfaces.values():
            network = self._premises.plan.network_of(held.address)
            if network is not None and _transit(network, held.address, number):
                self._say("H4", f"{step.id} switches {step.subject} on in transit")

    # what was so before, and what is meant

    def _forgive(self, things: Iterable[Thing], heard: Iterable[Ref]) -> None:
        for thing in things:
            self._before.setdefault(thing, set()).update(self._holdings.owners(thing))
        for ref in heard:
            self._may_hear.setdefault(ref, set()).update(self._holdings.pointed(ref, enabled=False))
            if ref in self._on_air:
                self._on_air[ref] = self._holdings.pointed(ref)

    def _concerned(self, unit: Unit, things: Iterable[Thing]) -> set[Ref]:
        own = {Ref(unit.name, name) for name in unit.running.destinations}
        return own.union(*(self._holdings.listeners(thing) for thing in things))

    def _every_destination(self) -> Iterator[Ref]:
        for unit in self._units.values():
            yield from (Ref(unit.name, name) for name in unit.running.destinations)

    def _at_first(self, ref: Ref) -> Iterator[str]:
        yield from self._holdings.pointed(ref, enabled=False)
        wish = self._premises.meant.get(ref)
        if wish is not None and wish.source is not None:
            yield str(wish.source)
        elif wish is not None:
            yield from self._last_holders(ref)

    def _last_holders(self, ref: Ref) -> Iterator[str]:
        """Who holds in the end what a playbook points ``ref`` at by number or group."""
        last = {one.subject: one for one in self._premises.sequence.steps if _renumbers(one)}
        pointed = self._last_pointer(ref)
        for subject, one in last.items():
            if isinstance(one.wanted, Assigned) and _same(pointed, one.wanted):
                yield subject
        yield from self._staying(pointed, last)

    def _last_pointer(self, ref: Ref) -> Hearing:
        """Where ``ref`` points in the end; it may have pointed there all the while."""
        for one in reversed(self._premises.sequence.steps):
            repoints = one.kind is StepKind.REPOINT and one.subject == str(ref)
            if repoints and isinstance(one.wanted, Hearing):
                return one.wanted
        hears = self._units[ref.device].running.destinations[ref.name].hears
        return Hearing(number=hears) if isinstance(hears, int) else Hearing(group=hears)

    def _staying(self, wanted: Hearing, last: Mapping[str, Step]) -> Iterator[str]:
        for (kind, _, value), owners in self._holdings.things():
            if (kind, value) in {("number", wanted.number), ("group", wanted.group)}:
                yield from (owner for owner in owners if owner not in last)
        for one in self._premises.sequence.steps:
            if one.kind is StepKind.READDRESS:  # it may come from a bench, where it held nothing
                for name, source in self._units[one.device].running.sources.items():
                    subject = str(Ref(one.device, name))
                    held = Assigned(source.number, source.groups)
                    if subject not in last and _same(wanted, held):
                        yield subject


def _renumbers(step: Step) -> bool:
    return step.kind is StepKind.RENUMBER


def _same(hearing: Hearing, held: Assigned) -> bool:
    if hearing.number is not None:
        return hearing.number == held.number
    return hearing.group is not None and hearing.group in held.groups


def _as_found(step: Step, state: DeviceState) -> bool:
    """Whether ``state`` is as ``step`` expects: putting in what it found changes nothing."""
    return put(state, step, step.as_found) == state


def _transit(network: Network, address: str, number: int | None) -> bool:
    if any(IPv4Address(address) in spare for spare in network.transit):
        return True
    lent = network.numbering.transit if network.numbering is not None else None
    return lent is not None and number is not None and number in lent
