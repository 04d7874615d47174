"""One seed: a facility, a run of it under trouble, and every way out of that.

A run that finishes stands at its target, and is then taken back, under trouble too. A run that
does not is looked at three times: resumed once the trouble is over it reaches the target; taken
back it leaves the facility as it was found; and one room taken back is as it was found, and so is
all, once the rest is taken back. Where a
device goes back by itself to an address at which the run that takes it back did not find it, or to
numbers, that one is taken back, and then the first one anew.
"""

import copy
import random
import re
from collections import Counter
from dataclasses import dataclass, field, replace

from mocks.holdings import heard
from mocks.referee import Referee
from mocks.state import Memory, State
from orchestrator.facility.found import AsFound
from orchestrator.planning.scene import Scene
from orchestrator.running.back.undo import TakeBack, take_back
from orchestrator.running.events import Paused
from orchestrator.running.present import proved_steps, state_now
from orchestrator.running.record import RunRecord
from tests.simulation.process import Ledger, Process
from tests.simulation.scene import (
    Job,
    job,
    planned,
    record_of,
    released,
    rooms_of,
    survey,
    target,
    world_of,
)
from tests.simulation.trouble import CALM, Odds, odds
from tests.simulation.truth import amiss, untrue
from tests.simulation.units import Thing, state_of, thing_of, things, value_in
from tests.simulation.watch import Watch
from tests.simulation.world import POWER_CYCLE, World

RESUMES = 3
_ON_BY_ITSELF = re.compile(r"((?:\S+/\S+ and )*\S+/\S+) was switched on by another hand, or by")


@dataclass
class Told:
    """What came of a seed. ``broken``: what was wrong, in words."""

    seed: int
    broken: list[str] = field(default_factory=list)
    counted: Counter[str] = field(default_factory=Counter)


@dataclass
class Night:
    """A run and all around it, in one value that can be copied where the ways part."""

    job: Job
    record: RunRecord
    world: World
    referee: Referee
    ledger: Ledger
    chance: random.Random
    parts: list["Night"] = field(default_factory=list)  # the runs that took back a part of it

    def branch(self) -> "Night":
        """The same night once more, to go another way from here."""
        keep = {id(self.job): self.job, id(self.record): self.record}
        return copy.deepcopy(self, keep)

    def broken(self) -> list[str]:
        """What the referees have seen."""
        seen = [f"{one.rule}: {one.what}" for one in self.referee.verdict().broken]
        return [*seen, *self.ledger.watch.broken]


def trial(seed: int, most: int = 4, *, batches: bool = False) -> Told:
    """Try one seed; ``batches``: some devices take several steps in one request."""
    told = Told(seed)
    chance = random.Random(f"trial {seed}")
    night = _night(job(seed, most, batches=batches), chance, odds(chance), told)
    if night is not None:
        _ways(night, told, _under_trouble(night, told))
        told.counted.update(night.world.counted)
    return told


def everywhere(seed: int, most: int = 2, *, batches: bool = False) -> Told:
    """Stop the process after each event that a seed's run stores, and go every way from there.

    The process that resumes is stopped as well, somewhere; so is the one that takes it back.
    """
    told = Told(seed)
    stop = 1
    while True:
        chance = random.Random(f"everywhere {seed}")
        night = _night(job(seed, most, batches=batches), chance, CALM, told)
        if night is None:
            return told
        ended = _once(night, told, stop)
        told.broken += [f"stopped after event {stop}: {what}" for what in _stopped(night, ended)]
        if ended or told.broken:
            return told
        stop += 1


def _stopped(night: Night, ended: bool) -> list[str]:  # noqa: FBT001 - how it ended
    told = Told(0)
    if not ended:
        night.world.odds = replace(CALM, stops=0.02)
    _ways(night, told, ended)
    return told.broken


def _night(made: Job | None, chance: random.Random, trouble: Odds, told: Told) -> Night | None:
    if made is None or not made.plan.sequence.steps:
        told.counted["nothing to do" if made else "refused by the planner"] += 1
        return None
    world = world_of(made, chance, trouble)
    record = record_of(made, "r1")
    told.counted["runs"] += 1
    told.counted["steps"] += len(record.sequence.steps)
    told.counted["steps in batches"] += sum(step.batch > 0 for step in record.sequence.steps)
    ledger = Ledger(_watch(made.scene, record, world))
    return Night(made, record, world, Referee(world), ledger, chance)


def _ways(night: Night, told: Told, finished: bool) -> None:  # noqa: FBT001 - how it ended
    """Go every way from where the run has come to."""
    origin = {name: state_of(state) for name, state in night.job.scene.states.items()}
    if finished:
        _finished(night, origin, told)
        _back(night, origin, told)
    else:
        told.counted["not finished under trouble"] += 1
        other, third = night.branch(), night.branch()
        _resumed(night, origin, told)
        _back(other, origin, told)
        _room_back(third, origin, told)


def _under_trouble(night: Night, told: Told) -> bool:
    """Run, and resume as long as anybody would; whether it finished."""
    for _ in range(1 + night.chance.randrange(RESUMES)):
        if _once(night, told):
            return True
        if night.chance.random() < 0.5:
            night.world.pass_time(night.world.now + night.chance.choice((0.1, 4.0, 300.0)))
        if night.chance.random() < 0.5:
            night.world.mind_cables()
    return False


def _once(night: Night, told: Told, dies_after: int | None = None) -> bool:
    rooms = rooms_of(night.job.scene)
    process = Process(
        night.record, night.ledger, night.world, night.chance, dies_after, rooms=rooms
    )
    lived = process.go()
    told.counted["operations"] += process.operations
    told.counted["processes that died"] += not lived
    events = night.ledger.events()
    told.broken += untrue(night.record, events, night.world)
    told.broken += night.broken()
    return lived and process.run.finished


def _calm(night: Night, told: Told) -> bool:
    """Resume, the trouble being over, until it is finished.

    What each device went back on may be seen only when its own turn comes: a resume more for each.
    """
    night.world.calm()
    night.world.put_right()
    for _ in range(RESUMES + len(night.world.units)):
        if _once(night, told):
            return True
        _heed(night)
    return False


def _heed(night: Night) -> None:
    """Do by hand what the run asks for: switch off what a power cycle has switched on.

    Only what was off when that run was planned: all else it has to switch off by itself.
    """
    last = night.ledger.events()[-1]
    asked = _ON_BY_ITSELF.findall(last.why) if isinstance(last, Paused) else []
    for source in " and ".join(asked).split(" and ") if asked else ():
        device, _, name = source.partition("/")
        if not night.record.before[device].state.sources[name].enabled:
            night.world.switch_off(device, name)


def _finished(night: Night, origin: dict[str, State], told: Told) -> None:
    wanted = target(origin, night.record.sequence)
    but_for = frozenset(night.world.meddled)
    told.broken += amiss(night.world, wanted, but_for, touched=night.record.before)


def _resumed(night: Night, origin: dict[str, State], told: Told) -> None:
    if _calm(night, told):
        _finished(night, origin, told)
    else:
        last = night.ledger.events()[-1]
        told.broken.append(f"resume: it does not come to its end: {last}")


def _back(night: Night, origin: dict[str, State] | None, told: Told, *, anew: bool = True) -> None:
    """Take the run back, under trouble, and look whether all is as it was.

    Without ``origin`` nobody looks: somebody else's values may be among those that were there.
    """
    world = night.world
    trouble = world.odds
    world.calm()
    if night.chance.random() < 0.5:
        world.put_right()
    now = survey(night.job.scene, world)
    world.take_as_known()
    back = _taken_back(night, now)
    if not back.asked:
        told.broken += amiss(world, origin or {}, frozenset(world.meddled))
        return
    undoing = _undoing(night, now, back)
    if undoing is None:
        told.broken.append("undo: it can't be planned")
        return
    world.odds, record = trouble, undoing.record
    if not _under_trouble(undoing, told) and not _calm(undoing, told):
        if anew and _went_back(undoing):
            told.counted["taken back anew"] += 1
            _back(undoing, None, told, anew=False)
            _back(night, origin, told, anew=False)
        else:
            told.broken.append(f"undo: it does not come to its end: {undoing.ledger.events()[-1]}")
        return
    but_for = frozenset(world.meddled) | _stays(back.stays)
    but_for |= _followers(but_for, world, origin or {})
    told.broken += amiss(world, origin or {}, but_for, touched=record.before if origin else ())


def _room_back(night: Night, origin: dict[str, State], told: Told) -> None:
    """Take back one room's part, the trouble being over, and look whether all there is as it was.

    Its destinations follow those whom they heard, who need not be taken back with it. Then all the
    rest is taken back, they with it.
    """
    world, homes = night.world, rooms_of(night.job.scene)
    world.calm()
    world.put_right()
    room = night.chance.choice(sorted({homes[name] for name in night.record.before}))
    part = frozenset(name for name, home in homes.items() if home == room)
    now = survey(night.job.scene, world)
    world.take_as_known()
    back = _taken_back(night, now, part)
    told.counted["rooms taken back"] += 1
    if back.asked:
        undoing = _undoing(night, now, back)
        if undoing is None:
            told.broken.append(f"undo of {room}: it can't be planned")
            return
        night.parts.append(undoing)
        if not _calm(undoing, told):
            last = undoing.ledger.events()[-1]
            told.broken.append(f"undo of {room}: it does not come to its end: {last}")
            return
    but_for = frozenset(world.meddled) | _stays(back.stays)
    for name in part & origin.keys():
        but_for |= {(name, thing) for thing in things(origin[name]) if thing[0] == "hears"}
    wanted = {name: state for name, state in origin.items() if name in part}
    wrong = amiss(world, wanted, but_for)
    told.broken += [f"undo of {room}: {what}" for what in wrong]
    if not wrong:
        _back(night, origin, told)


def _taken_back(night: Night, now: AsFound, part: frozenset[str] | None = None) -> TakeBack:
    made, events = night.job.scene, night.ledger.events()
    benched, away = _benched(made), _benched(replace(made, found=now))
    parts = [(one.record, one.ledger.events()) for one in night.parts]
    return take_back(night.record, events, now, benched, part, away=away, parts=parts)


def _undoing(night: Night, now: AsFound, back: TakeBack) -> Night | None:
    """The run that takes back what is asked for; None if there is no way."""
    way = _way_back(night, now, back)
    if way is None:
        return None
    record = record_of(way, f"{night.record.id}-back", undoes=night.record.id)
    night.referee.new_run()
    ledger = Ledger(_watch(way.scene, record, night.world))
    return Night(way, record, night.world, night.referee, ledger, night.chance)


def _way_back(night: Night, now: AsFound, back: TakeBack) -> Job | None:
    """The plan of what is asked, with leave for what the run may have put on air."""
    rooms = frozenset(night.job.scene.plan.devices[name].room for name in back.asked)
    accepted = {**night.job.scene.accepted, **{h.name: "for the test" for h in back.hazards}}
    made = replace(
        night.job.scene,
        found=now,
        asked=back.asked,
        rooms=rooms | night.job.scene.rooms,
        phases=(),
        accepted=accepted,
        save_first=back.save_first,
    )
    return planned(made) or planned(released(made))


def _went_back(undoing: Night) -> bool:
    """Whether a power cycle took a device from where this run found it, or had put it.

    What is to be done there can't be done any more, and a device that is elsewhere is written to
    by nobody who has not planned for that. Nor can a run do again what was found unsaved, and lost
    while it was being saved: none of its own steps had set it.
    """
    events = undoing.ledger.events()
    proved = set(proved_steps(events))
    steps = [step for step in undoing.record.sequence.steps if step.id in proved]
    own = {(step.device, thing_of(step)) for step in steps}
    for name, state in state_now(undoing.record, events).items():
        unit, meant = undoing.world.units[name], state_of(state)
        if ("address", "") in unit.strays and unit.address != meant.lan.address:
            return True
        for thing, why in unit.strays.items():
            now = value_in(unit.memory.running, thing)
            if why == POWER_CYCLE and (name, thing) not in own and now != value_in(meant, thing):
                return True
    return False


def _followers(
    moved: frozenset[tuple[str, Thing]], world: World, origin: dict[str, State]
) -> frozenset[tuple[str, Thing]]:
    """Where the destinations point that heard a source which has not got its number back."""
    sources = {f"{device}/{name}" for device, (sort, name) in moved if sort == "number"}
    memories = {name: Memory(state, state) for name, state in origin.items()}
    pointed = heard(world.site, memories, enabled_only=False)
    return frozenset(
        (device, ("hears", name))
        for at, heard_there in pointed.items()
        for device, _, name in (at.partition("/"),)
        if heard_there & sources
    )


def _watch(made: Scene, record: RunRecord, world: World) -> Watch:
    released = frozenset(release.what for release in made.releases)
    return Watch(record, world, released, rooms_of(made))


def _benched(made: Scene) -> frozenset[str]:
    return frozenset(
        name
        for name, state in made.states.items()
        if all(made.network_at(one.address) is None for one in state.interfaces.values())
    )


def _stays(stays: tuple[str, ...]) -> frozenset[tuple[str, Thing]]:
    """What is not given back by name, because that would bring a fault back."""
    subjects = [text.split(" ")[0].partition("/") for text in stays]
    return frozenset(
        (device, (sort, name))
        for device, _, name in subjects
        for sort in ("number", "hears", "enabled")
    )
