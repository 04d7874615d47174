"""Moves: each write that takes or lets go of things, and what it waits for.

A *move* is a renumber of one source or a readdress of one interface. Move B waits for move A
when B takes a thing that A lets go of. With one thing a write, who-moves-where is a graph with
one way in: chains and single cycles.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from orchestrator.facility.found import DeviceState
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import Ref
from orchestrator.facility.quick import maker
from orchestrator.facility.step import AddressValue, Assigned
from orchestrator.planning.aims.holders import Holders
from orchestrator.planning.scene import Scene
from orchestrator.planning.things import Thing, source_things, thing_words, things_of

_assigned = maker(Assigned)


@dataclass(slots=True)
class Move:
    """One renumber (``source`` set) or readdress (``interface`` set) and what it exchanges.

    ``takes`` and ``frees`` are facility things only, each once; they are few. ``waits``: the moves
    that it waits for. ``lent`` is ``out`` for the move into transit, ``home`` for the move from
    transit to where the source or device is wanted.
    """

    device: str
    source: str | None
    interface: str | None
    as_found: Assigned | AddressValue
    wanted: Assigned | AddressValue
    takes: tuple[Thing, ...]
    frees: tuple[Thing, ...]
    joins: bool = False
    leaves: bool = False
    waits: tuple[int, ...] = ()
    lent: str = ""

    @property
    def subject(self) -> str:
        """``device/source`` of a renumber, ``device`` of a readdress."""
        return f"{self.device}/{self.source}" if self.source else self.device


def moves(scene: Scene, wanted: Mapping[str, DeviceState]) -> list[Move]:
    """Every move that the wanted states ask for, in the plan's order."""
    found: list[Move] = []
    for name in scene.plan.devices:
        now = scene.states.get(name)
        if now is None or wanted[name] is now:
            continue
        found.extend(_renumbers(scene, name, now, wanted[name]))
        found.extend(_readdresses(scene, name, now, wanted[name]))
    return found


def _renumbers(scene: Scene, name: str, now: DeviceState, then: DeviceState) -> Iterator[Move]:
    here = scene.networks_now[name]
    there = scene.networks_of(then)
    leaves = any(here) and not any(there)
    nets = there if leaves else here
    for source, wish in then.sources.items():
        was = now.sources[source]
        if wish is was or (was.number == wish.number and was.groups == wish.groups):
            continue
        old = things_of(nets, was)
        new = things_of(nets, wish)
        apart = not any(thing in old for thing in new)
        yield Move(
            name,
            source,
            None,
            as_found=_assigned(was.number, was.groups),
            wanted=_assigned(wish.number, wish.groups),
            takes=new if apart else tuple([thing for thing in new if thing not in old]),
            frees=old if apart else tuple([thing for thing in old if thing not in new]),
            leaves=leaves,
        )


def _readdresses(scene: Scene, name: str, now: DeviceState, then: DeviceState) -> Iterator[Move]:
    for leg, (interface, value) in enumerate(then.interfaces.items()):
        was = now.interfaces[interface]
        if was.address == value.address:
            continue
        here, there = scene.network_at(was.address), scene.network_at(value.address)
        takes: dict[Thing, None] = {("address", there, value.address): None} if there else {}
        frees: dict[Thing, None] = {("address", here, was.address): None} if here else {}
        if here != there:
            # Before the readdress a joining unit already has its wanted numbers; a leaving one
            # still has those it was found with, unless it goes to another facility network.
            held = now if there is None else then
            takes |= _leg_things(there, leg, then)
            frees |= _leg_things(here, leg, held)
        yield Move(
            device=name,
            source=None,
            interface=interface,
            as_found=AddressValue(interface, was.address, was.prefix, was.gateway),
            wanted=AddressValue(interface, value.address, value.prefix, value.gateway),
            takes=tuple(takes),
            frees=tuple(frees),
            joins=here is None and there is not None,
            leaves=here is not None and there is None,
        )


def _leg_things(network: str | None, leg: int, state: DeviceState) -> dict[Thing, None]:
    if network is None:
        return {}
    things: dict[Thing, None] = {}
    for source in state.sources.values():
        group = source.groups[leg : leg + 1]
        things |= dict.fromkeys(source_things((network,), source.number, group))
    return things


def link(found: list[Move], held: Holders, scene: Scene) -> list[Hazard]:
    """Fill in ``waits``; what is held by something that does not move is a hazard."""
    letting_go = _LettingGo(found)
    taker: dict[Thing, int] = {}
    takers: dict[Thing, list[int]] = {}
    for index, move in enumerate(found):
        for thing in move.takes:
            first = taker.setdefault(thing, index)
            if first != index:
                takers.setdefault(thing, [first]).append(index)
    hazards: list[Hazard] = []
    for index, move in enumerate(found):
        for owner, things in _wait(move, index, letting_go, held).items():
            hazards.append(_bystander(move, owner, things, scene))
    hazards.extend(_two_takers(found, takers))
    return hazards


class _LettingGo:
    """Finds the move by which a holder lets go of a thing: its own, or that of its whole device."""

    def __init__(self, found: list[Move]) -> None:
        self.found = found
        self.renumber: dict[str, dict[str, int]] = defaultdict(dict)
        self.readdresses: dict[str, list[int]] = defaultdict(list)
        for index, move in enumerate(found):
            if move.source is not None:
                self.renumber[move.device][move.source] = index
            else:
                self.readdresses[move.device].insert(0, index)

    def by(self, thing: Thing, device: str, source: str | None) -> int | None:
        """The index of the move; None where its owner does not let go of ``thing``."""
        if source is not None and device in self.renumber:
            own = self.renumber[device].get(source)
            if own is not None and thing in self.found[own].frees:
                return own
        if self.readdresses:
            for index in self.readdresses.get(device, ()):
                if thing in self.found[index].frees:
                    return index
        return None


def own_doubles(scene: Scene, wanted: Mapping[str, DeviceState]) -> Iterator[Hazard]:
    """Devices that would bring one number or group to a network twice, with two of their sources.

    On its bench that does no harm, so no move of the device waits for another there.
    """
    for name, then in wanted.items():
        here = scene.networks_now[name]
        there = scene.networks_of(then)
        if here == there:
            continue
        new = [net if net != old else None for old, net in zip(here, there, strict=True)]
        if not any(new):
            continue
        owners: dict[Thing, list[str]] = defaultdict(list)
        for source, value in then.sources.items():
            for thing in sorted(things_of(new, value), key=str):
                owners[thing].append(str(Ref(name, source)))
        said: set[tuple[str, ...]] = set()
        for thing in sorted(owners, key=lambda t: (t[0] != "number", str(t))):
            names = tuple(owners[thing])
            if len(names) > 1 and names not in said:
                said.add(names)
                yield _clash(thing, names)


def _wait(
    move: Move, index: int, letting_go: _LettingGo, held: Holders
) -> Mapping[str, list[Thing]]:
    """Fill in what ``move`` waits for; give what others hold and do not let go of."""
    blocked: dict[str, list[Thing]] = {}
    for thing in sorted(move.takes):
        for device, source in held.owners(thing):
            if device == move.device and (move.source is None or move.source == source):
                continue  # the mover itself
            freeing = letting_go.by(thing, device, source)
            if freeing is None:
                owner = device if source is None else f"{device}/{source}"
                blocked.setdefault(owner, []).append(thing)
            elif freeing != index and freeing not in move.waits:
                move.waits = (*move.waits, freeing)
    return blocked


def _bystander(move: Move, owner: str, things: list[Thing], scene: Scene) -> Hazard:
    thing = next((t for t in things if t[0] == "number"), things[0])
    device = owner.split("/", maxsplit=1)[0]
    rule = "H2" if thing[0] == "address" else "H1"
    if device not in scene.states:
        what = (
            f"{move.subject} is to take {thing_words(thing)}, which is {owner}'s by the plan; "
            f"{device} did not answer, and no answer is not vacant"
        )
        fix = f"get {device} to answer, or correct the plan if it is gone for good"
    else:
        what = (
            f"{move.subject} is to take {thing_words(thing)}, which {owner} holds and does not "
            "let go of in this change"
        )
        fix = f"move {owner} too, or choose another {thing[0]} for {move.subject}"
    if scene.plan.devices[device].room not in scene.rooms and device in scene.states:
        fix += f"; {device} stands in {scene.room_of(device)}, which is not among the chosen rooms"
    return Hazard(
        name=f"held:{move.subject}:{thing[2]}",
        rule=rule,
        grade=Grade.STOPS,
        what=what,
        where=(move.subject, owner),
        fix=fix,
    )


def _two_takers(found: list[Move], takers: Mapping[Thing, list[int]]) -> Iterator[Hazard]:
    said: set[tuple[str, ...]] = set()
    for thing, who in takers.items():
        names = tuple(sorted({found[index].subject for index in who}))
        if len(names) < 2 or names in said:  # noqa: PLR2004 - two make a clash
            continue
        said.add(names)
        yield _clash(thing, names)


def _clash(thing: Thing, names: tuple[str, ...]) -> Hazard:
    return Hazard(
        name=f"two-want:{thing[2]}",
        rule="H2" if thing[0] == "address" else "H1",
        grade=Grade.STOPS,
        what=f"{' and '.join(names)} are both to take {thing_words(thing)}",
        where=names,
        fix="give one of them another",
    )
