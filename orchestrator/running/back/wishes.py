"""What is asked of each device so that it is again as it was before a run.

Where a mended fault, or what can't be reached, keeps something from going back, what is asked of
the others is what follows from that; and it is told by name.
"""

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace

from orchestrator.facility.found import AsFound, DeviceState
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import AddressValue, Hearing, Step, StepKind
from orchestrator.facility.wanted import (
    AskedDestination,
    AskedDevice,
    AskedSource,
    Auto,
    SettingValue,
)
from orchestrator.running.back.holders import Holders, holders_of, states_of
from orchestrator.running.back.mended import Stay, subjects_of
from orchestrator.running.present import put
from orchestrator.running.record import RunRecord
from orchestrator.running.view import networks

Line = Mapping[str, Sequence[Step]]
"""What a run wrote to one device: by what it is about, the steps in their order."""


class Wisher:
    """Works out what is asked of each device.

    ``kept`` are the sources that don't get their number back, ``benched`` the devices that nobody
    heard before the run, ``lost`` those that can't be reached, as they were left, and ``holds``
    what these hold, or may hold. ``away`` are those that stand on a bench. ``lines`` are what is
    taken back: ``given`` are the sources that get their number back, ``moved`` the devices that get
    their address back. ``stays`` tells, in words, what is not taken back.
    """

    def __init__(
        self,
        record: RunRecord,
        now: AsFound,
        kept: Mapping[str, Stay],
        benched: frozenset[str],
        *,
        lost: Mapping[str, DeviceState],
        holds: Mapping[str, Sequence[int | str]],
        lines: Mapping[str, Line],
        away: AbstractSet[str] = frozenset(),
    ) -> None:
        self.record = record
        self.lost = lost
        self.given = subjects_of(lines, StepKind.RENUMBER)
        self.moved = subjects_of(lines, StepKind.READDRESS)
        self.away = away - self.moved
        self.benched = benched
        self.before = {name: entry.state for name, entry in record.before.items()}
        self.now = now
        self.kept = kept
        self.stays = [stay.words for stay in kept.values()]
        self.facility = {**states_of(now), **self.before}
        self.then = {name: state for name, state in self.facility.items() if name not in benched}
        self.holders = holders_of(self.then)
        self.held = holders_of(states_of(now))
        self.avoids = self._avoids(holds)
        self.meant = holders_of({**self.then, **_done(record)})

    def device(self, name: str, line: Line) -> AskedDevice:
        """What is asked of a device to which the run wrote ``line``."""
        was = self.before[name]
        sources: dict[str, AskedSource] = {}
        destinations: dict[str, AskedDestination] = {}
        settings: dict[str, SettingValue] = {}
        exact: dict[str, tuple[str, int, str | None]] = {}
        for steps in line.values():
            step = steps[0]
            if step.kind is StepKind.READDRESS and isinstance(step.wanted, AddressValue):
                interface = was.interfaces[step.wanted.interface]
                exact[step.wanted.interface] = (
                    interface.address,
                    interface.prefix,
                    interface.gateway,
                )
            elif step.destination is not None:
                destinations[step.destination] = AskedDestination(
                    name=step.destination, listens_to=self._pointed(steps[-1])
                )
            elif step.source is not None:
                asked = sources.get(step.source, AskedSource(name=step.source))
                sources[step.source] = self._source(step, asked, was)
            elif step.setting is not None:
                settings[step.setting] = was.settings[step.setting]
        for source in was.sources:
            stay = self.kept.get(f"{name}/{source}")
            if stay is not None and stay.number is not None:
                known = sources.get(source, AskedSource(name=source))
                sources[source] = replace(known, number=stay.number, groups=None)
        return AskedDevice(
            name=name,
            playbook=f"run {self.record.id}, taken back",
            exact=exact,
            avoids=self.avoids,
            sources=sources,
            destinations=destinations,
            settings=settings,
        )

    def _avoids(self, holds: Mapping[str, Sequence[int | str]]) -> frozenset[int | str]:
        """The numbers and groups that nobody is given by ``auto``.

        Somebody holds them, or is to get them back; or a destination points there, or did: what
        points at nobody stays so, and would hear whoever comes there.
        """
        states = (*states_of(self.now).values(), *self.before.values(), *self.lost.values())
        held = (source for state in states for source in state.sources.values())
        pointed = (one.hears for state in states for one in state.destinations.values())
        figures = (
            *(figure for source in held for figure in (source.number, *source.groups)),
            *(stay.number for stay in self.kept.values() if not isinstance(stay.number, Auto)),
            *(figure for figures in holds.values() for figure in figures),
            *pointed,
        )
        return frozenset(figure for figure in figures if figure is not None)

    def _source(self, step: Step, asked: AskedSource, was: DeviceState) -> AskedSource:
        """Add to what is asked of a source what ``step`` wrote of it."""
        name = asked.name
        old = was.sources[name]
        number, groups, label, enabled = asked.number, asked.groups, asked.label, asked.enabled
        if step.kind is StepKind.RENUMBER:
            if step.subject not in self.kept:
                number = Auto.UNASSIGNED if old.number is None else old.number
                groups = tuple(group or "" for group in old.groups) if all(old.groups) else None
        elif step.kind is StepKind.SET:
            label = old.label
        else:
            enabled = old.enabled
        return AskedSource(name=name, number=number, groups=groups, label=label, enabled=enabled)

    def _pointed(self, step: Step) -> ListensTo:
        """What a destination that the run pointed is to listen to again."""
        device, destination = step.device, step.destination or ""
        pointer = self.before[device].destinations[destination].hears
        holders = self._of(self.holders, device, pointer)
        if len(holders) > 1:
            return self._stays_pointed(step, f"{pointer}, was a duplicate")
        keepers = [
            ref
            for ref in self._of(self.held, device, pointer)
            if str(ref) in self.kept or self._came_to_stay(ref, pointer)
        ]
        if keepers and (not holders or holders[0].device in self.away):
            # Nobody was heard there, or who was does not come back; and now somebody would be.
            return self._stays_pointed(step, f"{pointer}, is held by {keepers[0]}, which stays")
        if len(holders) == 1 and self._numberless(holders[0]):
            why = f"{pointer}, was that of {holders[0]}, which has no number any more"
            return self._stays_pointed(step, why)
        state = self.now.state(device)
        there = state.destinations.get(destination) if state is not None else None
        hears = there.hears if there is not None else None
        if hears is not None and isinstance(hears, int) != isinstance(pointer, int):
            return _pointer(pointer)  # it went from numbers to groups, or back: by figure
        return self.heard(device, pointer)

    def _came_to_stay(self, ref: Ref, figure: int | str | None) -> bool:
        """Whether the run gave a source a number or group that is not taken back from it."""
        if str(ref) in self.given or ref.device in self.moved or ref.device not in self.before:
            return False
        was = self.before[ref.device].sources.get(ref.name)
        return was is not None and figure not in (was.number, *was.groups)

    def _stays_pointed(self, step: Step, why: str) -> ListensTo:
        """Whom a destination stays with that can't be pointed back without harm.

        Where the run left it with nobody and somebody comes back to that number, it would hear
        whom it never heard. So it goes back after all, if one whom it heard is alone there by
        then; else it is pointed at nothing.
        """
        heard = step.wanted if isinstance(step.wanted, Hearing) else Hearing()
        figure = heard.group if heard.number is None else heard.number
        holders = self._of(self.meant, step.device, figure)
        known = len(holders) == 1 and holders[0].device not in self.benched
        stays = ListensTo(source=holders[0]) if known else _pointer(figure)
        does = f"keeps listening to {stays}"
        if not known and self._of_then(step.device, figure):
            pointer = self.before[step.device].destinations[step.destination or ""].hears
            if len(self._of_then(step.device, pointer)) == 1:
                return _pointer(pointer)
            stays, does = ListensTo(), f"is pointed at nothing: at {figure} is somebody again"
        self.stays.append(f"{step.subject} {does}; what it pointed at before, {why}")
        return stays

    def _of_then(self, device: str, pointer: int | str | None) -> tuple[Ref, ...]:
        """Who held what ``device`` pointed at before the run, and will again."""
        holders = self._of(self.holders, device, pointer)
        return tuple(ref for ref in holders if str(ref) not in self.kept)

    def heard(self, device: str, pointer: int | str | None) -> ListensTo:
        """Whom a pointer meant before the run: the source, where it is known, so that it follows.

        One that stays where the run has put it is followed there: on its old number is another.
        What stood on a bench was heard by nobody. Nor is one that stays on a bench, or without a
        number: whoever heard that stays where it points.
        """
        holders = self._of(self.holders, device, pointer)
        if len(holders) == 1 and holders[0].device in self.lost:
            return _pointer(self._where(holders[0], pointer))
        known = len(holders) == 1 and holders[0].device not in self.away
        known = known and not self._numberless(holders[0])
        return ListensTo(source=holders[0]) if known else _pointer(pointer)

    def _numberless(self, ref: Ref) -> bool:
        """Whether a source stays as it is, and holds nothing that can be listened to."""
        stay, state = self.kept.get(str(ref)), self.now.state(ref.device)
        given = str(ref) in self.given if stay is None else stay.number is not None
        if given or state is None:
            return False
        source = state.sources.get(ref.name)
        return source is not None and source.number is None and not any(source.groups)

    def _where(self, ref: Ref, pointer: int | str | None) -> int | str | None:
        """Where a source is, by the ledger, whose device can't be reached and so stays there."""
        source = self.lost[ref.device].sources[ref.name]
        if isinstance(pointer, int):
            return source.number
        legs = self.before[ref.device].sources[ref.name].groups
        return source.groups[legs.index(pointer)] if pointer in legs else pointer

    def _of(self, holders: Holders, device: str, pointer: int | str | None) -> tuple[Ref, ...]:
        """The holders of what ``device`` points at, on the networks on which it stood."""
        if pointer is None or device not in self.facility:
            return ()
        nets = networks(self.facility[device])
        return tuple(dict.fromkeys(ref for net in nets for ref in holders.get((net, pointer), ())))


def _done(record: RunRecord) -> Mapping[str, DeviceState]:
    """The run's devices as they are once all of it is done."""
    states = {name: entry.state for name, entry in record.before.items()}
    for step in record.sequence.steps:
        if step.device in states:
            states[step.device] = put(states[step.device], step, step.wanted)
    return states


def _pointer(hears: int | str | None) -> ListensTo:
    return ListensTo(number=hears) if isinstance(hears, int) else ListensTo(group=hears)
