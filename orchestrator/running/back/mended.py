"""What is not taken back: faults that a run mended stay mended, and what follows from that.

- Where only some holders of a duplicate were moved, those stay where they were moved to; where
  all were, one may go back, since alone it is no duplicate: the one for whom fewest others stay.
- Whoever would be put onto what one of these holds now stays, too.
- Whoever would be put onto what a device holds that can't be reached stays, too.
- What would stay on a transit number goes on to where the run meant it to go, if nobody goes back
  there; else to the next vacant number of its own. So does what comes back from a bench; and what a
  power cycle has put back onto its old number, if others were pointed at the new one.
"""

from collections.abc import Iterator, KeysView, Mapping, Sequence
from dataclasses import dataclass
from ipaddress import IPv4Network
from itertools import islice, product

from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.step import Assigned, Hearing, Step, StepKind
from orchestrator.facility.wanted import Auto
from orchestrator.running.record import RunRecord
from orchestrator.running.view import networks

Lines = Mapping[str, Mapping[str, Sequence[Step]]]
"""What a run wrote: by device, and by what it is about, the steps in their order."""

CHOICES = 64
"""How many choices of who goes back are compared. Our own choice; the first ones, in order."""

_Figure = tuple[IPv4Network, int | str]


@dataclass(frozen=True, slots=True)
class Stay:
    """A source that does not get its old number back.

    ``number`` is what it is to hold instead; None: what it holds now. ``words`` say so.
    """

    number: int | Auto | None
    words: str


def subjects_of(lines: Lines, kind: StepKind) -> KeysView[str]:
    """What the steps of one kind are about, in order: renumbers sources, readdresses devices."""
    every = (steps[0] for line in lines.values() for steps in line.values())
    return dict.fromkeys(step.subject for step in every if step.kind is kind).keys()


def stays(
    record: RunRecord,
    lines: Lines,
    now: AsFound,
    lost: Mapping[str, Sequence[int | str]] | None = None,
) -> Mapping[str, Stay]:
    """The sources that are not put back, by ``device/source``.

    ``lost`` gives what devices hold that can't be reached, and so keep.
    """
    worker = _Worker(record, lines, now, lost or {})
    return worker.stays()


class _Worker:
    def __init__(
        self,
        record: RunRecord,
        lines: Lines,
        now: AsFound,
        lost: Mapping[str, Sequence[int | str]],
    ) -> None:
        self.record = record
        self.lost = lost
        self.now = now
        self.renumbers = subjects_of(lines, StepKind.RENUMBER)
        self.left = subjects_of(lines, StepKind.READDRESS)
        self.pointed = {
            figure
            for line in lines.values()
            for steps in line.values()
            for step in steps
            if isinstance(step.wanted, Hearing)
            for figure in (step.wanted.number, step.wanted.group)
        }
        self.found: dict[str, Stay] = {}

    def stays(self) -> Mapping[str, Stay]:
        return min((self._with(stayers) for stayers in self._choices()), key=len)

    def _choices(self) -> Iterator[Mapping[str, str]]:
        """Each way to leave one of a mended duplicate's holders free to go back: who stays, why.

        A number and its group have the same holders, of whom the same one goes back.
        """
        faults = {
            fault: (tuple(name for name in holders if self._moved(name)), len(holders))
            for fault, holders in self.record.mended.items()
        }
        all_moved = dict.fromkeys(
            moved for moved, holders in faults.values() if len(moved) == holders
        )
        for homes in islice(product(*all_moved), CHOICES):
            home = dict(zip(all_moved, homes, strict=True))
            stayers: dict[str, str] = {}
            for fault, (moved, holders) in faults.items():
                for name in moved:
                    if len(moved) < holders or name != home[moved]:
                        stayers.setdefault(name, f"was a duplicate ({fault})")
            yield stayers

    def _with(self, stayers: Mapping[str, str]) -> Mapping[str, Stay]:
        """Who stays where it is, if ``stayers`` do."""
        self.found = {}
        for name, why in stayers.items():
            self._keep(name, why)
        while more := self._in_the_way():
            for name, other in more.items():
                self._keep(name, f"is held by {other}, which stays as it is")
        return self.found

    def _moved(self, name: str) -> bool:
        return name in self.renumbers or name.partition("/")[0] in self.left

    def _keep(self, name: str, why: str) -> None:
        number = self._instead(name)
        old = self._before(name)
        told = "keeps its new number" if number is None else "gets a number of its own"
        if isinstance(number, int):
            told = f"goes on to number {number}"
        old_number = "unassigned" if old is None else old.number
        self.found[name] = Stay(number, f"{name} {told}; its old one, {old_number}, {why}")

    def _before(self, name: str) -> Assigned | None:
        device, _, source = name.partition("/")
        entry = self.record.before.get(device)
        state = entry.state.sources.get(source) if entry is not None else None
        return None if state is None else Assigned(state.number, state.groups)

    def _instead(self, name: str) -> int | Auto | None:
        """What a source that stays is to hold: None, where it can keep what it holds."""
        if name.partition("/")[0] in self.left:
            return Auto.AUTO
        held = self._held(name)
        meant = [
            step.wanted
            for step in self.record.sequence.steps
            if step.kind is StepKind.RENUMBER and step.subject == name
        ]
        last = meant[-1] if meant else None
        if held is None or not isinstance(last, Assigned) or held.number == last.number:
            return None
        passing = any(
            isinstance(value, Assigned) and value.number == held.number for value in meant
        )
        old = self._before(name)
        gone_back = old is not None and held.number == old.number
        if not passing and not (gone_back and self.pointed & {last.number, *last.groups} - {None}):
            return None  # another hand's number, or its own: not for us to say
        taken = {old.number for other in self.renumbers if (old := self._before(other))}
        for entry in self.now.devices.values():
            if isinstance(entry, Found):
                taken.update(source.number for source in entry.state.sources.values())
        return Auto.AUTO if last.number is None or last.number in taken else last.number

    def _held(self, name: str) -> Assigned | None:
        device, _, source = name.partition("/")
        state = self.now.state(device)
        held = state.sources.get(source) if state is not None else None
        return None if held is None else Assigned(held.number, held.groups)

    def _in_the_way(self) -> Mapping[str, str]:
        """Who would be put onto what one that stays will hold, and which one that is."""
        taken = {figure: name for name in self.found for figure in self._will_hold(name)}
        for device, figures in self.lost.items():
            for network in networks(self.record.before[device].state):
                taken.update({(network, figure): device for figure in figures})
        found: dict[str, str] = {}
        for name in self._going_back():
            if name in self.found:
                continue
            for figure in self._figures(name, self._before(name), self.record):
                if figure in taken:
                    found.setdefault(name, taken[figure])
        return found

    def _going_back(self) -> Iterator[str]:
        """The sources that are to hold again what they held: by a renumber, or by coming back."""
        yield from self.renumbers
        for device in self.left:
            for source in self.record.before[device].state.sources:
                yield f"{device}/{source}"

    def _will_hold(self, name: str) -> Iterator[_Figure]:
        number = self.found[name].number
        if number is None:
            yield from self._figures(name, self._held(name), self.record)
        elif not isinstance(number, Auto):
            yield from self._figures(name, Assigned(number), self.record)

    @staticmethod
    def _figures(name: str, held: Assigned | None, record: RunRecord) -> Iterator[_Figure]:
        entry = record.before.get(name.partition("/")[0])
        if entry is None or held is None:
            return
        for network in networks(entry.state):
            for figure in (held.number, *held.groups):
                if figure is not None:
                    yield network, figure
