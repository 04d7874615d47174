"""Whether some order of moves leads from where everything is to where it is wanted, by trying all.

It knows nothing of the planner but which changes it was asked for.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from ipaddress import IPv4Address

from orchestrator.facility.step import AddressValue, Assigned
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene

Thing = tuple[str, str, object]
Place = frozenset[Thing]
"""All that one mover holds at one time; nothing, where it stands on a bench."""

MOST_MOVERS = 8


def solve(here: Sequence[Place], there: Sequence[Place], spare: Sequence[Place]) -> bool:
    """Whether some order of moves leads from ``here`` to ``there``, by looking at every one.

    One moves at a time, to where it is wanted or to a spare place, and only where nobody has
    anything of it. Several may have one thing at the start (a fault that is there); none ever
    moves onto another.
    """
    moving = [n for n, (one, other) in enumerate(zip(here, there, strict=True)) if one != other]
    still = frozenset[Thing]().union(*[p for n, p in enumerate(here) if n not in moving])
    start, goal = tuple(here[n] for n in moving), tuple(there[n] for n in moving)
    seen, open_states = {start}, [start]
    while open_states:
        state = open_states.pop()
        if state == goal:
            return True
        for index, wanted in enumerate(goal):
            if state[index] == wanted:
                continue
            others = still.union(*state[:index], *state[index + 1 :])
            for place in (wanted, *spare):
                if place & others:
                    continue
                after = (*state[:index], place, *state[index + 1 :])
                if after not in seen:
                    seen.add(after)
                    open_states.append(after)
    return False


class Wanted:
    """Where everything is, and where it is to be by the changes of a dry-run."""

    def __init__(self, where: Scene, plan: DryRun) -> None:
        self.where = where
        self.nets = {
            name: network for name, network in where.plan.networks.items() if not network.bench
        }
        self.to_number = {c.subject: c.wanted for c in plan.changes if c.setting == "number"}
        self.to_address: dict[str, dict[str, str]] = defaultdict(dict)
        for change in plan.changes:
            if isinstance(change.wanted, AddressValue):
                self.to_address[change.device][change.wanted.interface] = change.wanted.address

    def numbers(self) -> tuple[list[Place], list[Place], list[Place]]:
        """Every source: what it has, what it is to have, and what can be lent."""
        here: list[Place] = []
        there: list[Place] = []
        for name, state in self.where.states.items():
            now = [self._net(i.address) for i in state.interfaces.values()]
            then = [
                self._net(self.to_address.get(name, {}).get(key, i.address))
                for key, i in state.interfaces.items()
            ]
            for key, source in state.sources.items():
                was = Assigned(source.number, source.groups)
                wish = self.to_number.get(f"{name}/{key}", was)
                assert isinstance(wish, Assigned)
                here.append(_things(now, was))
                there.append(_things(then, wish))
        return here, there, list(self._spare_numbers())

    def addresses(self, net: str) -> tuple[list[Place], list[Place], list[Place]]:
        """Every interface on a network: where it is, where it is to be, and what can be lent."""
        here: list[Place] = []
        there: list[Place] = []
        for name, state in self.where.states.items():
            for key, interface in state.interfaces.items():
                pair = interface.address, self.to_address.get(name, {}).get(key, interface.address)
                for line, address in zip((here, there), pair, strict=True):
                    own = self._net(address) == net
                    line.append(frozenset({("address", net, address)} if own else ()))
        spare = [
            frozenset[Thing]({("address", net, str(IPv4Address(value)))})
            for span in self.nets[net].transit
            for value in range(int(span.first), int(span.last) + 1)
        ]
        return here, there, spare

    def clash(self) -> bool:
        """Whether two would have one thing when all is done, and did not from the start.

        What the plan gives to a device that did not answer counts as had.
        """
        kept = frozenset[Thing]().union(*self._absent())
        lines = [self.numbers()[:2], *[self.addresses(net)[:2] for net in self.nets]]
        return any(_clash(here, there, kept) for here, there in lines)

    def _absent(self) -> Iterator[Place]:
        for name, device in self.where.plan.devices.items():
            if name in self.where.states:
                continue
            for interface in device.interfaces:
                net = self._net(interface.address)
                if net is None:
                    continue
                yield frozenset({("address", net, interface.address)})
                yield frozenset(("number", net, number) for number in device.numbers)
                for source in device.sources.values():
                    yield _things([net], Assigned(source.number, source.groups or ()))

    def _net(self, address: str) -> str | None:
        found = (n for n, network in self.nets.items() if IPv4Address(address) in network.subnet)
        return next(found, None)

    def _spare_numbers(self) -> Iterator[Place]:
        numberings = {name: network.numbering for name, network in self.nets.items()}
        first = next(iter(numberings.values()))
        for number in (first.transit if first is not None else None) or ():
            yield frozenset(
                thing
                for net, numbering in numberings.items()
                if numbering is not None
                for thing in (("number", net, number), ("group", net, numbering.group(number)))
            )


def _clash(here: Sequence[Place], there: Sequence[Place], kept: Place) -> bool:
    for index, place in enumerate(there):
        new = place - here[index]
        others = frozenset[Thing]().union(*there[:index], *there[index + 1 :])
        if new & (others | kept):
            return True
    return False


def _things(nets: Sequence[str | None], value: Assigned) -> Place:
    things: set[Thing] = set()
    for leg, net in enumerate(nets):
        if net is not None and value.number is not None:
            things.add(("number", net, value.number))
        if net is not None and leg < len(value.groups) and value.groups[leg] is not None:
            things.add(("group", net, value.groups[leg]))
    return frozenset(things)


def ways(where: Scene, plan: DryRun) -> Mapping[str, bool | None]:
    """By rule: whether there is a way for numbers (H1), and one for addresses (H2).

    None where there are too many movers to try every order.
    """
    wanted = Wanted(where, plan)
    found: dict[str, bool | None] = {}
    problems = [("H1", wanted.numbers()), *[("H2", wanted.addresses(net)) for net in wanted.nets]]
    for rule, (here, there, spare) in problems:
        if found.get(rule, True) is not True:
            continue
        moving = sum(a != b for a, b in zip(here, there, strict=True))
        found[rule] = solve(here, there, spare) if moving <= MOST_MOVERS else None
    return found
