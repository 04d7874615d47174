"""A step: one write and its read-back, and the sequence that orders steps."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from orchestrator.facility.quick import quick
from orchestrator.facility.wanted import SettingValue


class StepKind(StrEnum):
    """What a step does."""

    DISABLE = "disable"
    SET = "set"
    RENUMBER = "renumber"
    REPOINT = "repoint"
    SAVE = "save"
    READDRESS = "readdress"
    CONFIRM = "confirm"
    ENABLE = "enable"
    BY_HAND = "by-hand"

    # As text has it: kinds are looked up a million times in a large sequence.
    __hash__ = str.__hash__


for _kind in StepKind:
    # As from Python 3.12 on: until then a function looks each member up, which takes as long as
    # all else that is asked of a kind.
    type.__setattr__(StepKind, _kind.name, _kind)


@quick
@dataclass(frozen=True, slots=True)
class Assigned:
    """What a source holds: its number (None: unassigned) and its group on each leg."""

    number: int | None
    groups: tuple[str | None, ...] = ()

    def __str__(self) -> str:
        return "unassigned" if self.number is None else str(self.number)


@dataclass(frozen=True, slots=True)
class AddressValue:
    """What an interface holds."""

    interface: str
    address: str
    prefix: int
    gateway: str | None = None

    def __str__(self) -> str:
        return self.address


@quick
@dataclass(frozen=True, slots=True)
class Hearing:
    """What a destination is pointed at: a number, a group, or nothing."""

    number: int | None = None
    group: str | None = None

    def __str__(self) -> str:
        if self.number is not None:
            return str(self.number)
        return self.group or "nothing"


@dataclass(frozen=True, slots=True)
class Origin:
    """The source that a destination is pointed at: its device, its name, and where that answers.

    ``at`` is the address at which its device is spoken to when the repoint starts.
    """

    device: str
    source: str
    at: str


StepValue = Assigned | AddressValue | Hearing | SettingValue | None


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step.

    Which of ``source``, ``destination`` and ``setting`` is set follows from the kind: disable,
    renumber and enable name a source; repoint a destination; set a setting (of the device, or
    with ``source`` that source's ``label``). Values: disable and enable hold booleans, renumber
    :class:`Assigned`, repoint :class:`Hearing`, readdress and confirm :class:`AddressValue`.
    ``origin`` is the source that a repoint is meant for, where its device asks for it.

    ``at`` is the address at which the device is spoken to when the step starts. ``after`` names
    the steps that must be proved before this one starts. ``behind`` names steps that go first
    for the sake of silence: if one fails, or can't start any more, it holds nothing back, and the
    proof of safety does not lean on it. ``order`` is its place in the schedule, used only to
    choose among steps that are ready. ``why`` says in plain words, for
    each step in ``after`` that is another device's or another source's, what it waits for.
    ``batch``: steps of one device with the same number here, which do not wait for one another,
    go to it in one request; 0: it goes alone.
    """

    id: str
    kind: StepKind
    device: str
    at: str
    as_found: StepValue
    wanted: StepValue
    source: str | None = None
    destination: str | None = None
    setting: str | None = None
    after: tuple[str, ...] = ()
    behind: tuple[str, ...] = ()
    why: tuple[str, ...] = ()
    phase: int = 0
    order: int = 0
    estimate_s: float = 0.0
    origin: Origin | None = None
    batch: int = 0

    def __hash__(self) -> int:
        """Of its id alone: a run looks its steps up time and again, and no two share one."""
        return hash(self.id)

    @property
    def subject(self) -> str:
        """The thing that the step is about: ``device`` or ``device/source``."""
        name = self.source or self.destination
        return f"{self.device}/{name}" if name else self.device


def batches_of(steps: Iterable[Step]) -> dict[tuple[str, int], list[Step]]:
    """The steps that go in one request, in order, by their device and the batch's number."""
    found: dict[tuple[str, int], list[Step]] = {}
    for step in steps:
        if step.batch:
            found.setdefault((step.device, step.batch), []).append(step)
    return found


@dataclass(frozen=True, slots=True)
class Phase:
    """The rooms changed together; before it (but for the first) stands a go/no-go point."""

    rooms: tuple[str, ...]
    accepts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """The steps of a change as a partial order, in schedule order, and their phases.

    ``width``: how many devices may be spoken to at one time.
    """

    steps: tuple[Step, ...]
    phases: tuple[Phase, ...] = ()
    width: int = field(default=16)
