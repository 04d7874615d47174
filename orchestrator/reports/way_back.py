"""The way back from where a run stands, step by step, for a person with a browser.

The order is the reverse of what was done. Every order that the sequence allowed was proved safe
after each step, so walking one of them backwards passes through safe states only:

- what came after a step is put back before it; among what is free, the same unit goes on, so
  that a person changes from page to page as seldom as possible
- what is in doubt came last, so it comes first
- a unit that has to save does so before another unit is touched: what is let go of is let go of
  in what it boots with, too, before somebody else takes it
- after each readdress the unit is confirmed by its serial
- what was a fault before (a duplicate that the run mended) is not made again, and neither is
  anything put back onto what such a source or unit now holds
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush

from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.reports.staying import staying
from orchestrator.running.events import Event
from orchestrator.running.present import proved_steps, state_now
from orchestrator.running.record import RunRecord
from orchestrator.running.view import found_so, in_doubt


@dataclass(frozen=True, slots=True, kw_only=True)
class Back:
    """One thing to do on the way back.

    ``step`` is the run's own step, to be set from its wanted value to its as found one; a save
    or a confirm is to be done as it says. ``at`` is where the unit is then found. ``doubt``:
    whether the run's step was done is not known.
    """

    step: Step
    at: str
    doubt: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class WayBack:
    """The whole way back.

    ``kept`` are steps that are not taken back because a fault that was mended stays mended.
    ``found_so`` are steps that the run found done already: not its own to take back.
    """

    steps: tuple[Back, ...]
    kept: tuple[Step, ...] = ()
    found_so: tuple[Step, ...] = ()


_WRITES = frozenset(StepKind) - {StepKind.SAVE, StepKind.CONFIRM}

_RANK = {
    StepKind.ENABLE: 0,
    StepKind.CONFIRM: 1,
    StepKind.SAVE: 1,
    StepKind.REPOINT: 2,
    StepKind.READDRESS: 3,
    StepKind.BY_HAND: 4,
    StepKind.SET: 5,
    StepKind.RENUMBER: 6,
    StepKind.DISABLE: 7,
}
"""Which to take back first, among steps of one unit that may come in any order."""


def way_back(record: RunRecord, events: Sequence[Event]) -> WayBack:
    """Work out the way back from where the events leave the run."""
    steps = {step.id: step for step in record.sequence.steps}
    doubt = in_doubt(record, events)
    done = [name for name in proved_steps(events) if name in steps and name not in doubt]
    done += [step.id for step in record.sequence.steps if step.id in doubt]
    already = found_so(record, events)
    order = _reversed([steps[name] for name in done])
    written = [step for step in order if step.kind in _WRITES and step.id not in already]
    now = state_now(record, events)
    kept = staying(record, written, now)
    back = [step for step in written if step.id not in kept]
    return WayBack(
        steps=tuple(_walk(record, events, back, doubt)),
        kept=tuple(step for step in record.sequence.steps if step.id in kept),
        found_so=tuple(
            step for step in record.sequence.steps if step.id in already and step.kind in _WRITES
        ),
    )


def _reversed(done: Sequence[Step]) -> list[Step]:
    """The done steps in an order that reverses the sequence's, unit by unit where it can be."""
    steps = {step.id: step for step in done}
    open_after = dict.fromkeys(steps, 0)
    for step in done:
        for before in step.after:
            if before in open_after:
                open_after[before] += 1
    late = {step.id: place for place, step in enumerate(done)}
    free = _Free()
    for step in done:
        if not open_after[step.id]:
            free.add(step, late[step.id])
    order: list[Step] = []
    while len(order) < len(steps):
        step = steps[free.take(order[-1].device if order else "")]
        order.append(step)
        for before in step.after:
            if before in open_after:
                open_after[before] -= 1
                if not open_after[before]:
                    free.add(steps[before], late[before])
    return order


class _Free:
    """The steps that may be taken back next. To find one takes no longer in a long run."""

    def __init__(self) -> None:
        self._anywhere: list[tuple[int, int, str]] = []
        self._on: dict[str, list[tuple[int, int, str]]] = defaultdict(list)
        self._taken: set[str] = set()

    def add(self, step: Step, late: int) -> None:
        """One more; ``late``: its place among those that were done."""
        key = (_RANK[step.kind], -late, step.id)
        heappush(self._anywhere, key)
        heappush(self._on[step.device], key)

    def take(self, here: str) -> str:
        """The id of the next one: on the unit ``here``, if one is free there."""
        for line in (self._on[here], self._anywhere):
            while line:
                _, _, name = heappop(line)
                if name not in self._taken:
                    self._taken.add(name)
                    return name
        raise ValueError("the steps come after one another in a circle")


def _walk(
    record: RunRecord, events: Sequence[Event], back: Sequence[Step], doubt: frozenset[str]
) -> Iterator[Back]:
    """Give each step its address, and put in the confirms and saves."""
    at = addresses_now(record, events)
    saves = {step.device: step for step in record.sequence.steps if step.kind is StepKind.SAVE}
    confirms = _confirms(record)
    for place, step in enumerate(back):
        yield Back(step=step, at=at[step.device], doubt=step.id in doubt)
        if step.kind is StepKind.READDRESS and isinstance(step.as_found, AddressValue):
            if step.id in doubt or _moves(step, at[step.device]):
                at[step.device] = step.as_found.address
            yield Back(step=_confirm(step, confirms.get(step.id)), at=at[step.device])
        following = back[place + 1].device if place + 1 < len(back) else None
        if step.device in saves and step.device != following:
            yield Back(step=saves[step.device], at=at[step.device])


def _confirms(record: RunRecord) -> dict[str, Step]:
    """The first confirm that comes after each step, by the step's id."""
    found: dict[str, Step] = {}
    for step in record.sequence.steps:
        if step.kind is StepKind.CONFIRM:
            for before in step.after:
                found.setdefault(before, step)
    return found


def _confirm(readdress: Step, own: Step | None) -> Step:
    """The confirm of a readdress taken back; it takes as long as the run's ``own``."""
    return replace(
        readdress,
        kind=StepKind.CONFIRM,
        wanted=readdress.as_found,
        estimate_s=readdress.estimate_s if own is None else own.estimate_s,
    )


def _moves(step: Step, at: str) -> bool:
    """Whether the readdress moved the address at which the unit is spoken to."""
    return isinstance(step.wanted, AddressValue) and step.wanted.address == at


def addresses_now(record: RunRecord, events: Sequence[Event]) -> dict[str, str]:
    """Where each unit is spoken to now, by the readdresses that are proved."""
    steps = {step.id: step for step in record.sequence.steps}
    at = {name: found.at for name, found in record.before.items()}
    for step in record.sequence.steps:
        at.setdefault(step.device, step.at)
    for name in proved_steps(events):
        done = steps.get(name)
        match done:
            case Step(
                kind=StepKind.READDRESS,
                device=device,
                as_found=AddressValue(address=old),
                wanted=AddressValue(address=new),
            ) if at[device] == old:
                at[device] = new
            case _:
                pass
    return at
