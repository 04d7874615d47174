"""Who hears whom, and where each listener has to be pointed.

Nothing follows a renumbered source by itself. By default every known listener follows: it is
pointed at its source's new number while the source is off. ``listens_to: 311`` means the number
and is not followed; ``listens_to: device/source`` means the source.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from orchestrator.facility.found import DestinationState, DeviceState
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import ListensTo, Ref, refs_of
from orchestrator.facility.quick import changed, maker, quick
from orchestrator.facility.traits import Hears
from orchestrator.facility.wanted import AskedDevice, Unit
from orchestrator.planning.index import Index, Networks
from orchestrator.planning.scene import Scene


@quick
@dataclass(frozen=True, slots=True)
class Listener:
    """A destination: whom it hears at the start, whom it is meant to hear, where it points.

    ``before`` has more than one source where a duplicate makes it ambiguous. ``after`` is the
    source that it is meant to hear when all is done. ``wanted`` is where it is to point then.
    ``asked``: the playbook says so, it does not merely follow.
    """

    ref: Ref
    before: tuple[Ref, ...]
    after: Ref | None
    found: int | str | None
    wanted: int | str | None
    asked: bool = False

    @property
    def follows(self) -> bool:
        """Whether it stays with the one source that it heard before."""
        return self.after is not None and self.before == (self.after,)


_listener = maker(Listener)


@dataclass(frozen=True, slots=True)
class Hearing:
    """All listeners, with what is dangerous about them.

    ``now`` and ``then`` map each thing to the sources that hold it, as found and as wanted;
    ``networks`` gives, for each device, the facility network of each interface as wanted.
    """

    listeners: Mapping[Ref, Listener]
    states: Mapping[str, DeviceState]
    hazards: tuple[Hazard, ...] = ()
    by_source: Mapping[Ref, Sequence[Ref]] = field(default_factory=dict)
    now: Index = field(default_factory=Index)
    then: Index = field(default_factory=Index)
    networks: Networks = field(default_factory=dict)


def listeners(scene: Scene, states: Mapping[str, DeviceState]) -> Hearing:
    """Work out every listener; ``states`` are the wanted states but for destinations.

    The answer's ``states`` are the wanted states with destinations pointed where they belong.
    """
    return _Listening(scene, states).work()


class _Listening:
    def __init__(self, scene: Scene, states: Mapping[str, DeviceState]) -> None:
        self.scene = scene
        self.states = dict(states)
        self.networks = {name: scene.networks_of(state) for name, state in states.items()}
        self.now = scene.sources_now
        self.then = self.now.changed(scene.states, states, scene.networks_now, self.networks)
        self.hazards: list[Hazard] = []
        self.found: dict[Ref, Listener] = {}

    def work(self) -> Hearing:
        for device, state in self.scene.states.items():
            if state.destinations:
                self._point(device, self._device(device, state))
        self._unknown_names()
        by_source: dict[Ref, list[Ref]] = {}
        for ref, listener in self.found.items():
            for source in listener.before:
                by_source.setdefault(source, []).append(ref)
        return Hearing(
            self.found,
            self.states,
            tuple(self.hazards),
            by_source,
            self.now,
            self.then,
            self.networks,
        )

    def _point(self, device: str, wanted: Iterable[Listener]) -> None:
        state = self.states[device]
        pointed: dict[str, DestinationState] = {}
        for listener in wanted:
            self.found[listener.ref] = listener
            if listener.wanted != listener.found:
                name = listener.ref.name
                pointed[name] = changed(state.destinations[name], {"hears": listener.wanted})
        if pointed:
            destinations = {**state.destinations, **pointed}
            self.states[device] = changed(state, {"destinations": destinations})

    def _device(self, device: str, state: DeviceState) -> Iterator[Listener]:
        """The listeners of one device."""
        here, asked = self.scene.networks_now[device], self.scene.asked.get(device)
        refs = refs_of(device, state.destinations)
        for ref, now in zip(refs, state.destinations.values(), strict=True):
            yield self._destination(ref, now, asked, self.now.heard(here, now.hears))

    def _destination(
        self, ref: Ref, now: DestinationState, asked: AskedDevice | None, before: tuple[Ref, ...]
    ) -> Listener:
        if asked is not None:
            wish = asked.destinations.get(ref.name)
            if wish is not None and wish.listens_to is not None:
                return self._as_asked(ref, now, before, wish.listens_to)
            if asked.unit is not Unit.KNOWN and self._joins(ref.device):
                return _listener(ref, before, None, now.hears, None, False)
        if len(before) != 1:
            if len(before) > 1:
                self._ambiguous(ref, now, before)
            return _listener(ref, before, None, now.hears, now.hears, False)
        source = before[0]
        wanted = self._pointer(ref, source, now.hears)
        return _listener(
            ref, before, source, now.hears, now.hears if wanted is None else wanted, False
        )

    def _joins(self, device: str) -> bool:
        """Whether the device stands on a bench now."""
        return all(network is None for network in self.scene.networks_now[device])

    def _as_asked(
        self, ref: Ref, now: DestinationState, before: tuple[Ref, ...], wish: ListensTo
    ) -> Listener:
        if wish.source is not None:
            wanted = self._pointer(ref, wish.source, now.hears)
            if wanted is None:
                self._no_number(ref, wish.source)
                return Listener(ref, before, None, now.hears, now.hears, asked=True)
            return Listener(ref, before, wish.source, now.hears, wanted, asked=True)
        pointer: int | str | None = wish.number if wish.number is not None else wish.group
        pointer = self._in_kind(ref, pointer, now.hears)
        after = self.then.heard(self.networks[ref.device], pointer)
        return Listener(
            ref, before, after[0] if len(after) == 1 else None, now.hears, pointer, asked=True
        )

    def _in_kind(
        self, ref: Ref, pointer: int | str | None, found: int | str | None
    ) -> int | str | None:
        """A number as the group it streams to, where the destination listens by group."""
        if not isinstance(pointer, int) or self._kind(ref, found) is Hears.NUMBER:
            return pointer
        for name in self.networks[ref.device]:
            numbering = self.scene.plan.networks[name].numbering if name else None
            if numbering is not None and numbering.has_group(pointer):
                return numbering.group(pointer)
        return pointer

    def _kind(self, ref: Ref, found: int | str | None) -> Hears:
        if isinstance(found, int):
            return Hears.NUMBER
        if isinstance(found, str):
            return Hears.GROUP
        traits = self.scene.traits.get(ref.device)
        return traits.hears if traits is not None else Hears.NUMBER

    def _pointer(self, ref: Ref, source: Ref, found: int | str | None) -> int | str | None:
        """Where a destination has to point to hear ``source`` when all is done.

        Nowhere, if the source is on a bench then: its number there may be another's here.
        """
        state = self.states.get(source.device)
        if state is None or not any(self.networks[source.device]):
            return None
        wanted = state.sources.get(source.name)
        if wanted is None:
            return None
        if found is not None and (found == wanted.number or (found,) == wanted.groups):
            return found  # it stays: so do by far the most
        if self._kind(ref, found) is Hears.NUMBER:
            return wanted.number
        mine = self.networks[ref.device]
        for network, group in zip(self.networks[source.device], wanted.groups, strict=False):
            if network in mine and group is not None:
                return group
        return next((group for group in wanted.groups if group is not None), None)

    def _ambiguous(self, ref: Ref, now: DestinationState, before: tuple[Ref, ...]) -> None:
        moving = [
            source
            for source in before
            if self.states[source.device].sources[source.name]
            != self.scene.states[source.device].sources[source.name]
        ]
        if not moving:
            return
        names = " and ".join(map(str, before))
        self.hazards.append(
            Hazard(
                name=f"ambiguous:{ref}",
                rule="H8",
                grade=Grade.STOPS,
                what=f"{ref} listens to {now.hears}, which {names} both hold; "
                "it can't be told which one it means",
                where=(str(ref), *map(str, before)),
                fix=f"say in the playbook what {ref} listens to, by source",
            )
        )

    def _no_number(self, ref: Ref, source: Ref) -> None:
        self.hazards.append(
            Hazard(
                name=f"no-such-source:{ref}",
                rule="playbook",
                grade=Grade.STOPS,
                what=f"{ref} is to listen to {source}, which was not found, holds no number, or "
                "will be on a bench",
                where=(str(ref), str(source)),
                fix="correct the name, or get the device to answer and survey again; or let "
                f"{ref} listen to something else",
            )
        )

    def _unknown_names(self) -> None:
        for device, asked in self.scene.asked.items():
            state = self.scene.states.get(device)
            if state is None:
                continue
            for name in asked.destinations:
                if name not in state.destinations:
                    has = ", ".join(list(state.destinations)[:8]) or "none"
                    self.hazards.append(
                        Hazard(
                            name=f"no-destination:{device}/{name}",
                            rule="playbook",
                            grade=Grade.STOPS,
                            what=f"{device} has no destination {name}; it has {has}",
                            where=(device,),
                            fix="correct the name in the playbook, or give the plan its slot",
                        )
                    )
