"""What the proof looks at, and how it words what it finds."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import Sequence, Step
from orchestrator.planning.proof.order import Order
from orchestrator.planning.proof.replay import Replay
from orchestrator.planning.scene import Scene


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
    def of(cls, scene: Scene, sequence: Sequence, meant: Meant) -> "Case":
        """Replay ``sequence``.

        Raises:
            BadOrder: the sequence is no order at all.
        """
        order = Order(sequence)
        return cls(scene, sequence, meant, order, Replay(scene.plan, scene.found, sequence, order))


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
