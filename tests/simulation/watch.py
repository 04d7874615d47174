"""What must hold of every request of a run, seen from the wire and the ledger.

The referee of ``mocks`` judges what the devices hold. This one judges how the run goes about it:

- a write comes only after its intent is in the ledger, after the go of its phase, and after all
  that its step comes after is proved (the ledger's word);
- a write comes right after a read of that very device, by its serial, that showed the value as the
  step found it (H7), and of a device whose whole state was stored before;
- nothing is written to a device while an earlier request of the run may land yet; a save, which
  carries no value, may;
- nothing that feeds an on-air destination when the run begins is silenced (H6);
- a device is moved only onto an address that was probed and vacant (H2), and after a readdress
  nothing is written to it before it was seen at its new address (H5);
- once a step has failed for good, nothing is begun in its room, or anywhere, where the terms of the
  run say so, until it is resumed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from mocks.holdings import heard
from mocks.state import State
from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.running.events import Answered, Event, Failed, Intended, Proved, Resumed
from orchestrator.running.operations import Outcome, Saw, Vacant
from orchestrator.running.record import RunRecord
from orchestrator.running.terms import AfterFailure
from tests.simulation.units import done, thing_of, value_in
from tests.simulation.world import World


class Watch:
    """Judges one run's requests. ``broken`` is what was wrong, in words."""

    def __init__(
        self,
        record: RunRecord,
        world: World,
        released: frozenset[str],
        rooms: Mapping[str, str] | None = None,
    ) -> None:
        self._record = record
        self._steps = {step.id: step for step in record.sequence.steps}
        fed = heard(world.site, dict(world.memories()))
        self._on_air = {source for at in world.site.on_air for source in fed[at]} - released
        self._world = world
        self._intended: set[str] = set()
        self._proved: set[str] = set()
        self._goes: set[str] = set()
        self._seen: dict[str, str] = {}
        self._vacant: dict[str, str] = {}
        self._moving: dict[str, str] = {}
        self._rooms = rooms or {name: name for name in record.before}
        self._failed: set[str] = set()
        self._held: set[str] = set()
        self.broken: list[str] = []

    def process_began(self) -> None:
        """A new process knows only what is in the ledger."""
        self._seen.clear()
        self._vacant.clear()

    def stored(self, event: Event) -> None:
        """An event is in the ledger."""
        match event:
            case Intended(step=step):
                self._intended.add(step)
                if self._steps[step].device in self._held:
                    said = f"{step} was begun after a failure that holds {self._steps[step].device}"
                    self.broken.append(f"terms: {said}")
            case Proved(step=step):
                self._proved.add(step)
                self._world.taken_over(self._steps[step])
            case Failed(step=step):
                self._proved.discard(step)
                self._failed.add(self._steps[step].device)
                self._world.given_up(self._steps[step])
            case Resumed():
                self._intended.clear()
                self._failed.clear()
                self._held.clear()
            case Answered(question=question, go=True):
                self._goes.add(question)
            case _:
                pass

    def committed(self, stale: Sequence[Sequence[Event]] = ()) -> None:
        """What was stored together is on disk: from now on a failure among it counts.

        ``stale`` are events that took so long that a look from before it is no look right before a
        write.
        """
        for event in [event for events in stale for event in events]:
            if isinstance(event, Intended):
                self._seen.pop(self._steps[event.step].device, None)
        match self._record.terms.after_failure:
            case AfterFailure.HOLD_DEVICE:
                pass  # how much of its own device a failure holds is for its kind to say
            case AfterFailure.HOLD_ALL if self._failed:
                self._held = set(self._rooms)
            case _:
                shut = {self._rooms[name] for name in self._failed}
                self._held = {name for name, room in self._rooms.items() if room in shut}

    def read(self, step: Step, at: str, outcome: Outcome) -> None:
        """A read was answered."""
        self._seen.pop(step.device, None)
        unit = self._world.units[step.device]
        if isinstance(outcome, Saw) and outcome.state.identity == unit.identity:
            self._seen[step.device] = at
            if not any(one.moving for one in self._world.on_its_way(step.device)):
                self._moving.pop(step.device, None)

    def probed(self, step: Step, at: str, outcome: Outcome) -> None:
        """A probe was answered. It takes time: a read from before it is no read before a write."""
        self._seen.pop(step.device, None)
        self._vacant.pop(step.device, None)
        if isinstance(outcome, Vacant):
            self._vacant[step.device] = at

    def about_to_write(self, steps: Sequence[Step], at: str) -> None:
        """Judge a write before it does anything: one step, or several in one request."""
        read_at = self._seen.pop(steps[0].device, None)
        for step in steps:
            self._judge(step, looked=read_at == at)

    def _judge(self, step: Step, *, looked: bool) -> None:
        self._by_the_ledger(step)
        self._by_what_was_read(step, looked=looked)
        self._by_what_is_on_its_way(step)
        self._by_addresses(step)
        silences = step.kind in (StepKind.DISABLE, StepKind.RENUMBER, StepKind.READDRESS)
        if silences and any(
            source.partition("/")[0] == step.device and step.source in (None, source.split("/")[1])
            for source in self._on_air
        ):
            self._wrong("H6", step, "though it feeds what is on air")

    def _by_the_ledger(self, step: Step) -> None:
        if step.id not in self._intended:
            self._wrong("H7", step, "without a stored intent")
        if step.device not in self._record.before:
            self._wrong("H7", step, "to a device whose state is not stored")
        if step.phase and f"go:{step.phase}" not in self._goes:
            self._wrong("go", step, "before a person said go")
        if missing := set(step.after) - self._proved:
            self._wrong("order", step, f"before {min(missing)} was proved")

    def _by_what_was_read(self, step: Step, *, looked: bool) -> None:
        if not looked:
            self._wrong("H7", step, "without a read right before it")
            return
        unit = self._world.units[step.device]
        if unit.down_until > self._world.now:
            return
        thing = thing_of(step)
        if thing is None:
            return
        holds = value_in(unit.memory.running, thing)
        if holds != value_in(_as_found(unit.memory.running, step), thing):
            self._wrong("H7", step, f"over {holds}, which is not as found")

    def _by_what_is_on_its_way(self, step: Step) -> None:
        for flight in self._world.on_its_way(step.device):
            if flight.step.kind is not StepKind.SAVE and step.kind is not StepKind.SAVE:
                self._wrong("twice", step, f"while {flight.step.id} may land yet")

    def _by_addresses(self, step: Step) -> None:
        if step.device in self._moving:
            where = self._moving[step.device]
            if step.kind is not StepKind.READDRESS or not self._still(step):
                self._wrong("H5", step, f"before the device was seen at {where}")
        wanted = step.wanted
        if step.kind is not StepKind.READDRESS or not isinstance(wanted, AddressValue):
            return
        if wanted.address != step.at and self._vacant.pop(step.device, None) != wanted.address:
            self._wrong("H2", step, f"though {wanted.address} was not found vacant")
        self._moving[step.device] = wanted.address

    def _still(self, step: Step) -> bool:
        """Whether a readdress of the same device is sent again, and it stands where it stood."""
        return self._world.units[step.device].address == step.at

    def _wrong(self, rule: str, step: Step, what: str) -> None:
        self.broken.append(f"{rule}: {step.id} was written {what}")


def _as_found(state: State, step: Step) -> State:
    """``state`` with what ``step`` is about as the step found it."""
    return done(state, replace(step, wanted=step.as_found))
