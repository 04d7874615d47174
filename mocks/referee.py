"""The referee: watches every change in the simulated world and says which safety rule it broke.

Written from the rules alone; it knows nothing of how anybody plans a sequence. The rules, each
judged after every single change:

- **H1** On one network no two sources hold one number or one group, enabled or not.
- **H2** On one network no two devices hold one address.
- **H3** The number or group of a source does not change while it is enabled.
- **H4** The address of a device does not change, nor is a change of it asked for, while any of its
  sources is enabled. After it has landed on a facility's network nothing of it is disabled or
  renumbered, no label of a source is set, and it is readdressed again only out of transit. Nothing
  is enabled on a transit number or at a transit address.
- **H6** Nothing is written to a device that is off limits.
- **H8** No destination hears a source that is neither one it was pointed to at the start nor one
  that it is meant to hear, nor one that another hand has pointed it to since.
- **H9** H1 and H2 hold too for what a power cycle would bring back; it brings back all of a device.

What was wrong at the start is known: a duplicate may lose holders, and gains none. What another
hand does is nobody's breach; it becomes part of what is known. On a bench nothing is demanded. A
device without a cable holds what it holds. :meth:`Referee.new_run` starts afresh (to take a run
back is another run), keeping the breaches, writes and silences seen so far.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import combinations
from typing import Protocol

from mocks.clock import Clock
from mocks.holdings import Slots, heard, held, in_transit, shared
from mocks.journal import Asked, Cause, Change, Observer
from mocks.site import Site
from mocks.state import Lan, Memory, Source, State
from mocks.verdict import Breach, Silence, Verdict, Writes


class Watched(Protocol):
    """What a referee needs of a world, such as :class:`mocks.world.World`."""

    @property
    def site(self) -> Site:
        """Its networks, and what is said of its devices."""
        ...

    @property
    def clock(self) -> Clock:
        """Its time, in seconds."""
        ...

    def memories(self) -> Mapping[str, Memory]:
        """What each device has in its memory now."""
        ...

    def observe(self, observer: Observer) -> None:
        """Tell ``observer`` of everything from now on."""
        ...

    def run_due(self) -> None:
        """Do all that is due."""
        ...


class Referee:
    """Watches a world from the moment it is made."""

    def __init__(self, world: Watched) -> None:
        self._site = world.site
        self._clock = world.clock
        self._world = world
        self._memories: dict[str, Memory] = dict(world.memories())
        self._breaches: dict[tuple[str, str], Breach] = {}
        self._writes: Counter[tuple[str, str]] = Counter()
        self._silences: list[Silence] = []
        self._silent: dict[str, Silence] = {}
        self._may_hear: dict[str, frozenset[str]] = {}
        self.started_at = self._clock()
        self._begin()
        world.observe(self)

    def new_run(self) -> None:
        """Take the world as it is now as the start of another run.

        What a destination was allowed to hear stays allowed: a run that takes back a half-done one
        gives it back what it heard before that one.
        """
        self._world.run_due()
        before = self._may_hear
        self._begin()
        self._may_hear = {
            at: sources | before.get(at, frozenset()) for at, sources in self._may_hear.items()
        }

    def verdict(self) -> Verdict:
        """What has been seen until now. What was due and not yet done is done first."""
        self._world.run_due()
        every = [*self._silences, *self._silent.values()]
        return Verdict(
            broken=tuple(sorted(self._breaches.values(), key=lambda one: one.at)),
            writes=tuple(
                Writes(device, kind, count)
                for (device, kind), count in sorted(self._writes.items())
            ),
            silences=tuple(sorted(every, key=lambda one: (one.start, one.source))),
        )

    # What the world tells.

    def changed(self, change: Change) -> None:
        """Judge one change."""
        self._memories[change.device] = change.after
        self._time_silences(change)
        if change.cause in (Cause.ANOTHER_HAND, Cause.EDIT):
            self._take_as_known(change)
            return
        if change.cause is Cause.REQUEST:
            self._count(change)
            self._judge_order(change)
        else:
            self._note_power_cycle(change)
        self._judge_state(change.at)

    def asked(self, asked: Asked) -> None:
        """Judge one request: H6."""
        if asked.writes and asked.device in self._site.off_limits:
            self._broken(
                asked.at, "H6", f"{asked.device} is off limits and was sent {asked.method}"
            )

    def moved(self) -> None:
        """Nothing to judge: who answers is not who holds."""

    def _note_power_cycle(self, change: Change) -> None:
        """Where a power cycle moved a device: onward, if it had accepted an address, or back."""
        was, now = change.before.running.lan, change.after.running.lan
        if was.address == now.address:
            return
        self._landed.discard(change.device)
        if now == change.before.pending and self._site.facility(now.address):
            self._landed.add(change.device)

    # The start, and what is known.

    def _begin(self) -> None:
        site, memories = self._site, self._memories
        self._known = dict(shared(held(site, memories)))
        self._known_transit = in_transit(site, memories)
        self._may_hear = {
            at: sources | self._site.meant.get(at, frozenset())
            for at, sources in heard(site, memories, enabled_only=False).items()
        }
        self._landed: set[str] = set()
        self._on_air = frozenset(
            source for at in site.on_air for source in heard(site, memories)[at]
        )
        self._enabled_at_start = frozenset(
            f"{name}/{slot}"
            for name, memory in memories.items()
            if site.facility(memory.running.lan.address) is not None
            for slot, source in memory.running.sources.items()
            if source.enabled
        )

    def _take_as_known(self, change: Change) -> None:
        site, memories = self._site, self._memories
        self._known.update(shared(held(site, memories)))
        self._known_transit |= in_transit(site, memories)
        earlier = {**memories, change.device: change.before}
        pointed = heard(site, earlier, enabled_only=False)
        now = heard(site, memories, enabled_only=False)
        for at, sources in heard(site, memories).items():
            # Whom this hand has pointed it at counts, enabled or not; whom it pointed at already
            # without hearing it is no doing of this hand.
            self._may_hear[at] |= sources | (now[at] - pointed[at])

    # States: H1, H2, H8, H9, and transit of H4.

    def _judge_state(self, at: float) -> None:
        self._judge_holders(at)
        for what in sorted(in_transit(self._site, self._memories) - self._known_transit):
            self._broken(at, "H4", what)
        for destination, sources in heard(self._site, self._memories).items():
            for source in sorted(sources - self._may_hear[destination]):
                self._broken(at, "H8", f"{destination} hears {source}")

    def _judge_holders(self, at: float) -> None:
        every = held(self._site, self._memories)
        running = held(self._site, self._memories, running_only=True)
        booted = held(self._site, _booted(self._memories), running_only=True)
        for thing, holders in shared(every).items():
            known = self._known.get(thing, frozenset())
            at_once = (running.get(thing, frozenset()), booted.get(thing, frozenset()))
            if holders <= known or not _new(holders, known, at_once):
                continue
            rule = "H2" if thing.kind == "address" else "H1"
            now = running.get(thing, frozenset())
            names = ", ".join(sorted(holders))
            if len(now) > 1 and not now <= self._known.get(thing, frozenset()):
                self._broken(at, rule, f"{thing} is held by {names}")
            else:
                self._broken(at, "H9", f"{thing} would be held by {names} after a power cycle")
        for thing, known in tuple(self._known.items()):
            self._known[thing] = known & every.get(thing, frozenset())

    # Order: H3, H4.

    def _judge_order(self, change: Change) -> None:
        for slot, was, now in _sources(change):
            if was.enabled and _carries(was) != _carries(now):
                what = f"{change.device}/{slot} was renumbered while enabled"
                self._broken(change.at, "H3", f"{what} ({_named(was)}, now {_named(now)})")
            if change.device in self._landed:
                self._judge_after_landing(change.at, f"{change.device}/{slot}", was, now)
        self._judge_asking(change)
        before, after = change.before.running, change.after.running
        if before.lan.address != after.lan.address:
            self._judge_move(change.at, change.device, before, after)

    def _judge_after_landing(self, at: float, source: str, was: Source, now: Source) -> None:
        for did, word in (
            (was.enabled and not now.enabled, "disabled"),
            (_carries(was) != _carries(now), "renumbered"),
            (was.label != now.label, "relabelled"),
        ):
            if did:
                self._broken(at, "H4", f"{source} was {word} after its device was readdressed")

    def _judge_asking(self, change: Change) -> None:
        pending = change.after.pending
        if pending is not None and pending != change.before.pending:
            running = change.after.running
            self._judge_silent(change.at, change.device, running, running.lan, pending)

    def _judge_move(self, at: float, name: str, before: State, after: State) -> None:
        self._judge_silent(at, name, before, before.lan, after.lan)
        left = self._site.facility(before.lan.address)
        transit = left is not None and left.is_transit_address(before.lan.address)
        if name in self._landed and not transit:
            self._broken(at, "H4", f"{name} was readdressed a second time, and not out of transit")
        if self._site.facility(after.lan.address) is None:
            self._landed.discard(name)
        else:
            self._landed.add(name)

    def _judge_silent(self, at: float, name: str, state: State, old: Lan, new: Lan) -> None:
        if old.address == new.address or not (
            self._site.facility(old.address) or self._site.facility(new.address)
        ):
            return
        for slot, source in state.sources.items():
            if source.enabled:
                what = f"{name} was readdressed while its source {slot} was enabled"
                self._broken(at, "H4", f"{what} ({old.address} to {new.address})")

    # Counting.

    def _count(self, change: Change) -> None:
        for kind in _kinds(change):
            self._writes[change.device, kind] += 1

    def _time_silences(self, change: Change) -> None:
        for slot, was, now in _sources(change):
            source = f"{change.device}/{slot}"
            if was.enabled and not now.enabled and source in self._enabled_at_start:
                silence = Silence(source, change.at, None, source in self._on_air)
                self._silent.setdefault(source, silence)
            elif now.enabled and source in self._silent:
                self._silences.append(replace(self._silent.pop(source), end=change.at))

    def _broken(self, at: float, rule: str, what: str) -> None:
        self._breaches.setdefault((rule, what), Breach(at, rule, what))


def _booted(memories: Mapping[str, Memory]) -> Mapping[str, Memory]:
    return {name: Memory(one.saved, one.saved) for name, one in memories.items()}


def _new(holders: Slots, known: Slots, at_once: tuple[Slots, Slots]) -> bool:
    """Whether two hold one thing that did not before.

    A power cycle brings back all of a device: what runs and what is saved of one never meet.
    """
    return any(
        not {one, other} <= known
        and (_device(one) != _device(other) or any({one, other} <= now for now in at_once))
        for one, other in combinations(sorted(holders), 2)
    )


def _device(holder: str) -> str:
    return holder.partition("/")[0]


def _sources(change: Change) -> Iterable[tuple[str, Source, Source]]:
    after = change.after.running.sources
    return [(slot, was, after[slot]) for slot, was in change.before.running.sources.items()]


def _carries(source: Source) -> tuple[int, str]:
    return source.number, source.group


def _named(source: Source) -> str:
    return f"{source.number or 'no number'} {source.group or 'no group'}"


def _kinds(change: Change) -> Iterable[str]:
    """The kinds of write that one change was, from what it changed."""
    for _, was, now in _sources(change):
        if was.enabled != now.enabled:
            yield "enable" if now.enabled else "disable"
        if _carries(was) != _carries(now):
            yield "renumber"
        if was.label != now.label:
            yield "set"
    before, after = change.before.running, change.after.running
    for slot, was_there in before.destinations.items():
        now_there = after.destinations[slot]
        if (was_there.number, was_there.group) != (now_there.number, now_there.group):
            yield "repoint"
        if was_there.label != now_there.label:
            yield "set"
    yield from ["set" for name, value in before.settings.items() if after.settings[name] != value]
    asked = change.after.pending
    if asked is not None and asked != change.before.pending:
        yield "readdress"
    if before == after and asked == change.before.pending:
        yield "save"
