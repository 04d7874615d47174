"""Breaking cycles with transit: one number or address lent to one member of each.

Which member: the one whose silence costs least. One that is off anyway is best; then one that
feeds nothing on air; then the one with the fewest listeners. What is lent is vacant, or is left by
somebody in the same change who need not wait for that cycle: a half-done run that is taken back.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from ipaddress import IPv4Address
from itertools import islice

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import AddressValue, Assigned
from orchestrator.planning.aims.holders import Holders
from orchestrator.planning.ordering.cycles import components, fewest_to_break
from orchestrator.planning.ordering.in_turn import lend_in_turn
from orchestrator.planning.ordering.moves import Move
from orchestrator.planning.scene import Scene
from orchestrator.planning.things import Thing, source_things

MOST_TOLD = 7
"""So many movers at most are named in a hazard."""

Cost = Callable[[Move], tuple[int, ...]]


def break_cycles(
    found: list[Move], held: Holders, scene: Scene, cost: Cost
) -> tuple[list[Move], list[Hazard], bool]:
    """Lend what has to be lent.

    Returns:
        The moves, with each lent one split into the move out and the move home; hazards where a
        cycle can't be broken; whether the number lent is proved to be the least.
    """
    lender = _Lender(found, held, scene, cost)
    lender.work()
    return lender.moves, lender.hazards, lender.exact


def device_order(found: Sequence[Move]) -> dict[int, set[int]]:
    """For each move that comes after others of its own device, those others.

    Readdress is last: it comes after every renumber of its device, but for a unit that leaves for
    a bench, which is renumbered there. Two readdresses of one device keep their order.
    """
    after: dict[int, set[int]] = defaultdict(set)
    addresses: dict[str, list[int]] = defaultdict(list)
    for index, move in enumerate(found):
        if move.source is None:
            addresses[move.device].append(index)
    for index, move in enumerate(found if addresses else ()):
        if move.source is None or move.device not in addresses:
            continue
        if move.leaves:
            after[index].update(addresses[move.device])
        else:
            for address in addresses[move.device]:
                after[address].add(index)
    return dict(after)


_Kind = tuple[bool, tuple[str | None, ...], int]
"""Whether a move is a readdress, the networks of its device, and how many groups it has."""


class _Lender:
    def __init__(self, found: list[Move], held: Holders, scene: Scene, cost: Cost) -> None:
        self.moves = found
        self.held = held
        self.scene = scene
        self.cost = cost
        self.hazards: list[Hazard] = []
        self.exact = True
        self.used: dict[str, dict[int | str, int]] = defaultdict(dict)
        self.set_aside: dict[_Kind, list[tuple[int | str, list[Thing]]]] = {}
        self.in_turn = True
        self.at_first = list(found)
        self.order = device_order(found)
        # What a move comes after: few of them are ever lent, so no more is kept of each than that.
        self.edges: list[Sequence[int]] = [
            sorted({*move.waits, *self.order[index]}) if index in self.order else sorted(move.waits)
            for index, move in enumerate(found)
        ]
        self.awaiting: dict[int, list[int]] = {}
        self.knot: frozenset[int] = frozenset()

    @cached_property
    def leaving(self) -> Mapping[Thing, int]:
        """The move by which each thing is let go of that is held at first; few ask for it."""
        return {thing: index for index, move in enumerate(self.at_first) for thing in move.frees}

    def work(self) -> None:
        knots = [component for component in components(self.edges) if len(component) > 1]
        self.awaiting = {index: [] for knot in knots for index in knot}
        for index, move in enumerate(self.moves):
            for awaited in move.waits:
                if awaited in self.awaiting:
                    self.awaiting[awaited].append(index)
        for knot in knots:
            self.knot = frozenset(knot)
            self._break(sorted(knot))

    def _break(self, members: list[int]) -> None:
        choice, exact = fewest_to_break(
            members, self.edges, self._lendable, lambda index: self.cost(self.moves[index])
        )
        self.exact &= exact
        if choice is None:
            self._impossible(members)
            return
        needed = Counter(self._store(self.moves[index]) for index in choice)
        if all(self._has(i, needed[self._store(self.moves[i])]) for i in choice):
            self._lend_all([(index, frozenset(choice[:at])) for at, index in enumerate(choice)])
            return
        inside = set(members)
        loans = lend_in_turn(
            sorted(members, key=lambda index: self.cost(self.moves[index])),
            {index: inside.intersection(self.moves[index].waits) for index in members},
            {index: inside.intersection(self.order.get(index, ())) for index in members},
            lambda i: self._store(self.moves[i]) if self._lendable(i) else None,
            {self._store(self.moves[i]): self._free(i) for i in members if self._lendable(i)},
        )
        if loans is None:
            self._too_little(members, needed)
        else:
            self._lend_all(loans)

    def _has(self, index: int, count: int) -> bool:
        """Whether a move could choose from so many; those beyond are not looked at."""
        return len(list(islice(self._choices(self.moves[index]), count))) == count

    def _free(self, index: int) -> int:
        """How many numbers (or addresses) a move could choose from."""
        return sum(1 for _ in self._choices(self.moves[index]))

    def _lendable(self, index: int) -> bool:
        move = self.moves[index]
        if move.joins or move.leaves or not move.frees:
            return False
        return next(self._choices(move), None) is not None

    def _choices(self, move: Move) -> Iterator[tuple[int | str, int]]:
        """The transit numbers (or addresses) that ``move`` could borrow, in order.

        Each comes with the move that has to come first; -1: none.
        """
        used = self.used[self._store(move)]
        for value, held in self._set_aside(move):
            first = self._again(used[value]) if value in used else self._before(held)
            if first is not None:
                yield value, first

    def _set_aside(self, move: Move) -> Sequence[tuple[int | str, Sequence[Thing]]]:
        """What the plan sets aside for such as ``move``, each with what of it is held at first."""
        networks, legs = self.scene.networks_now[move.device], 0
        if isinstance(move.as_found, AddressValue):
            networks = (self.scene.network_at(move.as_found.address),)
        else:
            legs = len(move.as_found.groups)
        key = (move.source is None, networks, legs)
        if key not in self.set_aside:
            names = [net for net in networks if net is not None]
            every = self._addresses(names) if move.source is None else self._numbers(names)
            self.set_aside[key] = [
                (value, [t for t in self._stopover(move, value)[1] if self.held.of(t)])
                for value in every
            ]
        return self.set_aside[key]

    def _addresses(self, networks: Iterable[str]) -> Iterator[str]:
        for network in networks:
            for run in self.scene.plan.networks[network].transit:
                for value in range(int(run.first), int(run.last) + 1):
                    yield str(IPv4Address(value))

    def _numbers(self, networks: Iterable[str]) -> Iterator[int]:
        numberings = [self.scene.plan.networks[net].numbering for net in networks]
        first = numberings[0] if numberings else None
        if first is None or first.transit is None:
            return
        for number in first.transit:
            if all(n is not None and n.transit and number in n.transit for n in numberings):
                yield number

    def _before(self, held: Sequence[Thing]) -> int | None:
        """After which move all that is ``held`` is vacant (-1: now); None: it can't be waited for.

        One move has to free them all, and must not wait for the knot that is being broken.
        """
        if not held:
            return -1
        moves = {self.leaving.get(thing, -1) for thing in held}
        index = moves.pop()
        if moves or index < 0 or any(len(self.held.of(thing)) > 1 for thing in held):
            return None
        return None if self._waits_for_knot(index) else index

    def _waits_for_knot(self, index: int) -> bool:
        """Whether a move waits, at once or by way of others, for the knot that is being broken."""
        seen, left = {index}, [index]
        while left:
            more = set(self.edges[left.pop()]) - seen
            seen |= more
            left += more
        return not seen.isdisjoint(self.knot)

    def _lend_all(self, loans: Iterable[tuple[int, frozenset[int]]]) -> None:
        """Lend, one after another, what nobody else has on loan just then."""
        keys: dict[int, tuple[str, int | str]] = {}
        for index, others in loans:
            move = self.moves[index]
            store = self._store(move)
            taken = {keys[other] for other in others}
            free = (each for each in self._choices(move) if (store, each[0]) not in taken)
            value, first = _soonest(free)
            self.in_turn &= first < 0 or value in self.used[store]
            self._split(index, value, first if first >= 0 else None)
            keys[index] = store, value
            self.used[store][value] = index

    def _again(self, used: int) -> int | None:
        """The move ``used``, if what it borrowed can be lent again after it; else None.

        Knots are broken each after those that it waits for; so a move of an earlier one waits for
        this one only if something was lent that another move has to let go of first.
        """
        well = self.in_turn or used in self.knot or not self._waits_for_knot(used)
        return used if well else None

    def _store(self, move: Move) -> str:
        """Where what ``move`` borrows is set aside, as the plan has it."""
        network = next((net for net in self.scene.networks_now[move.device] if net), "")
        inside = "numbering: transit" if move.source is not None else "transit"
        return f"networks: {network}: {inside}"

    def _split(self, index: int, value: int | str, used_by: int | None) -> None:
        """Replace move ``index`` by its way home, and append its way out.

        The index of the way home stays that of the move; whoever waited for the move to let go
        now waits for the way out.
        """
        move = self.moves[index]
        stopover, things = self._stopover(move, value)
        first = () if used_by is None else (used_by,)
        out = replace(move, wanted=stopover, takes=things, waits=first, lent="out")
        if used_by in self.awaiting:
            self.awaiting[used_by].append(len(self.moves))
        home = replace(move, as_found=stopover, frees=things, lent="home")
        where = len(self.moves)
        self.moves.append(out)
        self.edges.append(first)
        self.edges[index] = (*self.edges[index], where)
        self.moves[index] = home
        for waiting in self.awaiting.get(index, ()):
            move = self.moves[waiting]
            self.edges[waiting] = (*self.edges[waiting], where)
            if index in move.waits:
                move.waits = (*[each for each in move.waits if each != index], where)
        home.waits = (*home.waits, where)

    def _stopover(
        self, move: Move, value: int | str
    ) -> tuple[Assigned | AddressValue, tuple[Thing, ...]]:
        networks = self.scene.networks_now[move.device]
        if move.source is None:
            now = _address(move.as_found)
            address = str(value)
            network = self.scene.network_at(address) or ""
            stop = AddressValue(now.interface, address, now.prefix, now.gateway)
            return stop, (("address", network, address),)
        number = int(value)
        was = move.as_found
        groups: tuple[str | None, ...] = ()
        if isinstance(was, Assigned):
            numberings = [self.scene.plan.networks[n].numbering if n else None for n in networks]
            groups = tuple(
                numbering.group(number) if numbering and numbering.has_group(number) else None
                for numbering, _ in zip(numberings, was.groups, strict=False)
            )
        return Assigned(number, groups), source_things(networks, number, groups)

    def _impossible(self, members: list[int]) -> None:
        first = next((i for i in members if self.moves[i].source is not None), members[0])
        rule, thing = _rule_and_thing(self.moves[first])
        self.hazards.append(
            Hazard(
                name=f"no-transit:{self.moves[members[0]].subject}",
                rule=rule,
                grade=Grade.STOPS,
                what=f"{self._going(members)} go round in a ring: each waits for another to let go "
                f"first, and no transit {thing} is free to be lent meanwhile",
                where=tuple(self.moves[index].subject for index in members),
                fix=f"set a vacant {thing} aside in the plan ({self._store(self.moves[first])}), "
                "or move one of them elsewhere for good",
            )
        )

    def _too_little(self, members: list[int], needed: Counter[str]) -> None:
        name = f"too-little-transit:{self.moves[members[0]].subject}"
        for store, count in needed.items():
            move = next(m for m in map(self.moves.__getitem__, members) if self._store(m) == store)
            free = [value for value, _ in self._choices(move)]
            if count <= len(free):
                continue
            rule, thing = _rule_and_thing(move)
            self.hazards.append(
                Hazard(
                    name=name,
                    rule=rule,
                    grade=Grade.STOPS,
                    what=f"{self._going(members)} wait for one another in a knot that can't be "
                    f"undone with what transit {thing} is free to be lent: "
                    f"{', '.join(map(str, free))}",
                    where=tuple(self.moves[index].subject for index in members),
                    fix=f"set {count - len(free)} more aside in the plan ({store}), or make the "
                    "change in two runs",
                )
            )

    def _going(self, members: list[int]) -> str:
        """The movers, each with where it is to go; a long list is cut short."""
        told = [f"{self.moves[i].subject} (to {self.moves[i].wanted})" for i in members]
        if len(told) > MOST_TOLD:
            told = [*told[: MOST_TOLD - 1], f"{len(told) - MOST_TOLD + 1} more"]
        return f"{', '.join(told[:-1])} and {told[-1]}"


def _soonest(choices: Iterable[tuple[int | str, int]]) -> tuple[int | str, int]:
    """The first choice of those that wait for the earliest move; one that waits for none, if any.

    Raises:
        ValueError: there is no choice.
    """
    seen: list[tuple[int | str, int]] = []
    for choice in choices:
        if choice[1] < 0:
            return choice
        seen.append(choice)
    return min(seen, key=lambda each: each[1])


def _rule_and_thing(move: Move) -> tuple[str, str]:
    """The rule that a move could break, and what it moves, in words."""
    return ("H2", "address") if move.source is None else ("H1", "number")


def _address(value: Assigned | AddressValue) -> AddressValue:
    if not isinstance(value, AddressValue):
        raise TypeError("a readdress holds an address")
    return value
