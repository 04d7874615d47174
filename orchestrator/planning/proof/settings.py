"""Settings that interrupt, reboot or touch the plant: only while the device's sources are off."""

from collections.abc import Iterator

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import Step, StepKind
from orchestrator.facility.traits import Effect
from orchestrator.planning.proof.case import Case, broken, label, still_on


def interrupts(case: Case, step: Step) -> bool:
    """Whether ``step`` changes a device's setting, and that does more than change it."""
    effects = case.scene.traits[step.device].effects
    return (
        step.kind is StepKind.SET
        and step.source is None
        and effects.get(step.setting or "", Effect.NONE) is not Effect.NONE
    )


def settings(case: Case) -> Iterator[Hazard]:
    """A source is never cut off by a setting: it is silenced first, which counts as silence."""
    for device, steps in case.replay.steps.items():
        for step in steps:
            if not interrupts(case, step):
                continue
            for name, switch in still_on(case, device, step):
                may = f", and {label(switch)} stands in no fixed order with it" if switch else ""
                yield broken(
                    "settings",
                    f"{label(step)} interrupts {device}/{name} while it is enabled{may}",
                    (step.id, f"{device}/{name}"),
                )
