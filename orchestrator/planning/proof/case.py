"""What the proof looks at, and how it words what it finds."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import Sequence, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.proof.lines import Lines, by_device
from orchestrator.planning.proof.order import Order
from orchestrator.planning.proof.replay import Replay
from orchestrator.planning.scene import Scene

_SWITCHES = frozenset({StepKind.DISABLE, StepKind.ENABLE})


@dataclass(frozen=True, slots=True)
class Meant:
    """What each destination is meant to listen to after, where a playbook says so."""

    listens_to: Mapping[Ref, ListensTo] = field(default_factory=dict)

    @classmethod
    def of(cls, scene: Scene) -> "Meant":
        """Read it from the playbooks alone."""
        return cls(
            {
                Ref(device, name): wish.listens_to
                for device, asked in scene.asked.items()
                for name, wish in asked.destinations.items()
                if wish.listens_to is not None
            }
        )


@dataclass(frozen=True, slots=True)
class Case:
    """One sequence to be proved, replayed."""

    scene: Scene
    sequence: Sequence
    meant: Meant
    order: Order
    replay: Replay

    @classmethod
    def of(cls, scene: Scene, sequence: Sequence, meant: Meant, own: Lines | None = None) -> "Case":
        """Replay ``sequence``; ``own`` are its steps by device, if they are sorted already.

        Raises:
            BadOrder: the sequence is no order at all.
        """
        order = Order(sequence)
        if own is None or order.line is not sequence.steps:
            own = by_device(order.line)
        return cls(scene, sequence, meant, order, Replay(scene.plan, scene.found, order, own))


def still_on(case: Case, device: str, moment: Step) -> Iterator[tuple[str, Step | None]]:
    """The sources of ``device`` that are enabled, or may be, while ``moment`` is done.

    Each comes with the switch that stands in no fixed order with ``moment``; with None where it
    surely is enabled.
    """
    for name, source in case.replay.states[device].sources.items():
        enabled = source.enabled
        for step in case.replay.own[device].of_source.get(name, ()):
            if step.kind not in _SWITCHES:
                continue
            if case.order.before(step, moment):
                enabled = step.kind is StepKind.ENABLE
            elif not case.order.before(moment, step):
                yield name, step
        if enabled:
            yield name, None


def over(case: Case, device: str, ended: Step, then: Step, other: str) -> bool:
    """Whether what ``ended`` puts an end to on ``device`` is over for good when ``then`` starts.

    A device that boots with what it saved brings back by a power cycle what was not saved. It
    brings back all of itself at once: to ``other`` it matters only if that is another device.
    """
    if case.scene.traits[device].saves is not Saves.ON_SAVE or device == other:
        return case.order.before(ended, then)
    before, saves = case.order.before, case.replay.own[device].saves
    # A save that comes between says by itself that the one is proved before the other. Most often
    # the other waits for the save itself: that is seen at once, so such ones come first.
    return any(before(ended, save) for save in saves if save.id in then.after) or any(
        before(ended, save) and before(save, then) for save in saves if save.id not in then.after
    )


def broken(rule: str, what: str, where: tuple[str, ...]) -> Hazard:
    """A broken rule, as a hazard that stops."""
    return Hazard(
        name=f"unsafe:{rule}:{':'.join(where[:2])}",
        rule=rule,
        grade=Grade.STOPS,
        what=what,
        where=where,
        fix="do not apply this sequence; if the tool made it, that is a fault of the tool: keep "
        "the as-found file and the playbooks, and report it",
    )


def label(step: Step) -> str:
    """A step by its id and what it does."""
    return f"{step.id} ({step.kind} {step.subject})"
