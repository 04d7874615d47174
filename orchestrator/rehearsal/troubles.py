"""What goes wrong in one rehearsal, and when: drawn by seeded chance before it begins.

A trouble that strikes once does so, as chance has it, at one of the requests that its device gets
in the run, or at one of all requests of the run: while the device is at work, or at any time. The
figures are our own choice.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from random import Random

from orchestrator.errors import CallError
from orchestrator.facility.step import AddressValue, Sequence, StepKind
from orchestrator.running.rehearsed import Fault, Trouble

REQUESTS_OF_A_STEP = 3
"""A read, a write and a read-back: how often a device is spoken to for one step."""

SLOWER = (5.0, 30.0)
BUSY_S = (0.5, 20.0)
LOST = 1 / 3
OWN = 1 / 2
ONCE = frozenset({Trouble.BUSY, Trouble.REBOOTS, Trouble.GOES_AWAY, Trouble.OTHER_HAND})


class Troubles:
    """What is wrong with whom in one rehearsal, and whether it is over."""

    def __init__(self, faults: Iterable[Fault], sequence: Sequence, chance: Random) -> None:
        self._chance = chance
        self._of: dict[str, set[Trouble]] = defaultdict(set)
        self._strikes: dict[tuple[str, Trouble], tuple[bool, int]] = {}
        self._slower: dict[str, float] = {}
        steps = [step.device for step in sequence.steps]
        for fault in faults:
            self._of[fault.device].add(fault.trouble)
            if fault.trouble in ONCE:
                own = chance.random() < OWN
                most = REQUESTS_OF_A_STEP * (steps.count(fault.device) if own else len(steps))
                at = chance.randrange(max(1, most))
                self._strikes[fault.device, fault.trouble] = (own, at)
            if fault.trouble is Trouble.SLOW:
                self._slower[fault.device] = chance.uniform(*SLOWER)

    def calm(self) -> None:
        """All of it is over."""
        self._of.clear()
        self._strikes.clear()
        self._slower.clear()

    def slower(self, device: str) -> float:
        """How many times as long as usual ``device`` takes."""
        return self._slower.get(device, 1.0)

    def asked(self, device: str) -> Iterator[Fault]:
        """``device`` is about to be spoken to: what strikes it, or another, now."""
        for (name, trouble), (own, left) in tuple(self._strikes.items()):
            if own and name != device:
                continue
            if left == 0:
                del self._strikes[name, trouble]
                yield Fault(name, trouble)
            else:
                self._strikes[name, trouble] = (own, left - 1)

    def suffers(self, device: str, trouble: Trouble) -> bool:
        """Whether a lasting trouble is ``device``'s."""
        return trouble in self._of.get(device, ())

    def lost(self, device: str, trouble: Trouble) -> bool:
        """Whether a request (or an answer) of ``device`` is lost this time."""
        return self.suffers(device, trouble) and self._chance.random() < LOST


def possible(sequence: Sequence) -> tuple[Fault, ...]:
    """Every fault that can touch the sequence, in a fixed order."""
    moves = dict(_moves(sequence))
    return tuple(
        Fault(device, trouble)
        for device in sorted({step.device for step in sequence.steps})
        for trouble in Trouble
        if trouble is not Trouble.ADDRESS_TAKEN or device in moves
    )


def check(faults: Iterable[Fault], sequence: Sequence) -> None:
    """See that each fault can touch the sequence.

    Raises:
        CallError: a device that the sequence does not touch, or does not readdress.
    """
    known = {step.device for step in sequence.steps}
    moves = dict(_moves(sequence))
    for fault in faults:
        if fault.device not in known:
            raise CallError(
                f"the run does not touch {fault.device}, so nothing can go wrong with it",
                f"name one of these: {', '.join(sorted(known))}",
            )
        if fault.trouble is Trouble.ADDRESS_TAKEN and fault.device not in moves:
            raise CallError(
                f"{fault.device} keeps its address in this run, so nobody can be at a new one",
                f"name one of these: {', '.join(sorted(moves)) or 'none is readdressed'}",
            )


def taken(faults: Iterable[Fault], sequence: Sequence) -> Mapping[str, str]:
    """The addresses at which something answers, by the device that it is in the way of."""
    moves = dict(_moves(sequence))
    return {
        fault.device: moves[fault.device]
        for fault in faults
        if fault.trouble is Trouble.ADDRESS_TAKEN
    }


def _moves(sequence: Sequence) -> Iterator[tuple[str, str]]:
    """Each device that is readdressed, and the address where it is to be in the end."""
    for step in sequence.steps:
        if step.kind is StepKind.READDRESS and isinstance(step.wanted, AddressValue):
            yield step.device, step.wanted.address
