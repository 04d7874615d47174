"""A small random facility, planned, and the simulated network that stands for it."""

import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from ipaddress import IPv4Network
from random import Random

from mocks.holdings import heard
from mocks.site import Network, Site, Span
from mocks.state import Memory, State
from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.hazard import Grade
from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Sequence
from orchestrator.facility.step import StepKind as K
from orchestrator.facility.traits import Batch, Effect, Saves
from orchestrator.facility.wanted import Release
from orchestrator.planning.digest import digest
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene
from orchestrator.running.protocols import EVERYTHING
from orchestrator.running.record import RunRecord
from orchestrator.running.terms import AfterFailure, Terms
from tests.planning.scenes import Box, random_boxes, rich_boxes, scene
from tests.planning.simulator import in_turn
from tests.simulation.trouble import Odds
from tests.simulation.units import Unit, done, state_of, told
from tests.simulation.world import World

ALERT = "alert"
POLICIES = (*(AfterFailure.HOLD_DEVICE,) * 5, *AfterFailure)
"""What runs do after a failure, drawn by what they do: mostly the default."""


@dataclass(frozen=True)
class Job:
    """A facility, what is asked of it, and the dry-run."""

    scene: Scene
    plan: DryRun


def job(seed: int, most: int = 4, *, batches: bool = False) -> Job | None:
    """The job of a seed, of at most ``most`` devices; None where the planner refuses it.

    ``batches``: some of the devices take several steps in one request.
    """
    rng = random.Random(seed)
    boxes = (rich_boxes if rng.random() < 0.4 else random_boxes)(seed)
    for name in sorted(boxes)[most:]:
        del boxes[name]
    _mend(boxes)
    boxes[ALERT] = Box(
        host=61,
        room="rack",
        sources={"s": (611, True)},
        hears={"in": 611},
        off_limits="carries the emergency alert insertion",
    )
    on_air = [Ref(ALERT, "in")]
    heard = [Ref(name, key) for name, box in boxes.items() for key in box.hears]
    if rng.random() < 0.1 and heard:
        on_air.append(rng.choice(heard))
    made = scene(
        boxes,
        rooms=frozenset({"north", "south", "booth"}),
        on_air=tuple(on_air),
    )
    return planned(_with_batches(made, seed) if batches else made)


def _with_batches(made: Scene, seed: int) -> Scene:
    chance = random.Random(f"batches {seed}")
    takes = {name: _takes(chance) for name in sorted(made.traits) if chance.random() < 0.8}
    traits = {
        name: replace(each, batches=takes.get(name, ())) for name, each in made.traits.items()
    }
    return replace(made, traits=traits)


def _takes(chance: random.Random) -> tuple[Batch, ...]:
    kinds = [K.DISABLE, K.ENABLE, K.RENUMBER, K.SET, K.REPOINT]
    chance.shuffle(kinds)
    cut = chance.randint(1, len(kinds))
    parts = (kinds[:cut], kinds[cut:])
    return tuple(Batch(frozenset(part), chance.choice((2, 3, 8))) for part in parts if part)


def _mend(boxes: dict[str, Box]) -> None:
    """Leave out wishes for sources of devices that are left out, and for numbers on a bench."""
    for box in boxes.values():
        for key, wish in list(box.listens.items()):
            ref = wish.source
            missing = ref is not None and (
                ref.device not in boxes or ref.name not in boxes[ref.device].sources
            )
            if missing or (box.exact and wish.number is not None):
                del box.listens[key]


def planned(made: Scene) -> Job | None:
    """Plan; what a person may accept by name is accepted."""
    plan = dry_run(made)
    asks = {h.name: "for the test" for h in plan.hazards if h.grade is Grade.NEEDS_NAME}
    if asks and not any(hazard.grade is Grade.STOPS for hazard in plan.hazards):
        made = replace(made, accepted={**made.accepted, **asks})
        plan = dry_run(made)
    if plan.stopped or not plan.proved:
        return None
    return Job(made, plan)


def released(made: Scene) -> Scene:
    """The scene with leave to touch all but what is off limits: the run may have put it on air."""
    names = [
        name
        for device, state in made.states.items()
        if not made.plan.devices[device].off_limits
        for name in (device, *[f"{device}/{key}" for key in (*state.sources, *state.destinations)])
    ]
    leave = [
        Release(what=name, by="chief engineer", reference="test", until="2099-01-01T00:00:00Z")
        for name in names
    ]
    return replace(made, releases=tuple(leave))


def record_of(job: Job, name: str, undoes: str | None = None) -> RunRecord:
    """What the ledger keeps of a run before its first write."""
    found = job.scene.found
    before = {
        device: entry
        for device in dict.fromkeys(step.device for step in job.plan.sequence.steps)
        if isinstance(entry := found.devices[device], Found)
    }
    return RunRecord(
        id=name,
        facility=job.scene.plan.facility,
        title="a simulated run",
        made_at="2026-01-01T00:00:00+00:00",
        digest=digest(job.plan.sequence),
        sequence=job.plan.sequence,
        expects={device: entry.state.identity for device, entry in before.items()},
        before=before,
        hazards=job.plan.hazards,
        mended=job.plan.mended,
        undoes=undoes,
        terms=Terms(after_failure=Random(digest(job.plan.sequence)).choice(POLICIES)),
    )


def rooms_of(made: Scene) -> Mapping[str, str]:
    """The room of every device."""
    return {name: device.room for name, device in made.plan.devices.items()}


def world_of(job: Job, chance: random.Random, odds: Odds) -> World:
    """The simulated network as the survey found it."""
    made = job.scene
    nets = {
        network.name: Network(
            network.name,
            IPv4Network(network.subnet),
            bench=network.bench,
            transit_numbers=(Span(lent.first, lent.last),)
            if network.numbering is not None and (lent := network.numbering.transit) is not None
            else (),
            transit_addresses=tuple(Span(int(run.first), int(run.last)) for run in network.transit),
        )
        for network in made.plan.networks.values()
    }
    states = {name: state_of(state) for name, state in made.states.items()}
    site = Site(
        networks=tuple(nets.values()),
        off_limits=frozenset(n for n, d in made.plan.devices.items() if d.off_limits),
        on_air=frozenset(str(ref) for ref in made.plan.on_air if ref.device in states),
    )
    units = {name: _unit(made, name, state, site, chance) for name, state in states.items()}
    site = replace(site, meant=_meant(made, site, states, job.plan.sequence))
    world = World(site, units, chance, odds)
    for device in made.asked.values():
        for address in device.addresses.values():
            vacant = all(address != unit.address for unit in units.values())
            if vacant and chance.random() < odds.occupied:
                world.occupied.add(address)
    return world


def _unit(made: Scene, name: str, state: State, site: Site, chance: random.Random) -> Unit:
    traits = made.traits[name]
    network = site.network(state.lan.address)
    return Unit(
        identity=made.states[name].identity,
        memory=Memory(state, state),
        keeps=traits.saves is Saves.AT_ONCE,
        tells=chance.random() < 0.7,
        cable=network.name if network is not None else "",
        late_s=traits.late_s,
        settle_s=traits.settle_s,
        reboots_on=frozenset(k for k, effect in traits.effects.items() if effect is Effect.REBOOTS),
    )


def target(states: Mapping[str, State], sequence: Sequence) -> dict[str, State]:
    """The states once every step is done."""
    now = dict(states)
    for step in in_turn(sequence):
        now[step.device] = done(now[step.device], step)
    return now


def _meant(
    made: Scene, site: Site, states: Mapping[str, State], sequence: Sequence
) -> Mapping[str, frozenset[str]]:
    """The sources that each destination is to hear by what the playbook says of it.

    Who holds a number in the end is meant by it, though the playbook switches that source off.
    """
    last = {name: Memory(state, state) for name, state in target(states, sequence).items()}
    then = heard(site, last, enabled_only=False)
    meant: dict[str, frozenset[str]] = {}
    for name, asked in made.asked.items():
        for key, wish in asked.destinations.items():
            if wish.listens_to is None:
                continue
            at = f"{name}/{key}"
            if wish.listens_to.source is not None:
                meant[at] = frozenset({str(wish.listens_to.source)})
            else:
                meant[at] = then.get(at, frozenset())
    return meant


def survey(made: Scene, world: World) -> AsFound:
    """What the devices say of themselves now, wherever they stand."""
    devices = dict(made.found.devices)
    for name, unit in world.units.items():
        devices[name] = Found(at=unit.address, state=told(unit, EVERYTHING), response_s=0.05)
    return replace(made.found, devices=devices)
