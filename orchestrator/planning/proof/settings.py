"""Settings that interrupt, reboot or touch the plant: only while the device's sources are off.

One that reboots a device which boots with what it saved comes when nothing is left unsaved there.
"""

from collections.abc import Iterator

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import Step, StepKind
from orchestrator.facility.traits import Effect, Saves
from orchestrator.planning.proof.case import Case, broken, label, still_on

_WRITES_NOTHING = frozenset({StepKind.SAVE, StepKind.CONFIRM, StepKind.BY_HAND})


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
    for device, own in case.replay.own.items():
        for step in own.sets:
            if not interrupts(case, step):
                continue
            for name, switch in still_on(case, device, step):
                may = f", and {label(switch)} stands in no fixed order with it" if switch else ""
                yield broken(
                    "settings",
                    f"{label(step)} interrupts {device}/{name} while it is enabled{may}",
                    (step.id, f"{device}/{name}"),
                )
            if _reboots(case, step):
                yield from _lost(case, device, step)


def _reboots(case: Case, step: Step) -> bool:
    traits = case.scene.traits[step.device]
    effect = traits.effects.get(step.setting or "", Effect.NONE)
    return effect is Effect.REBOOTS and traits.saves is Saves.ON_SAVE


def _lost(case: Case, device: str, reboot: Step) -> Iterator[Hazard]:
    """What a reboot may take back: all that is not surely saved before it, or done after it."""
    order, own = case.order, case.replay.own[device]
    saves = [save for save in own.saves if order.before(save, reboot)]
    if not saves:
        what = f"{label(reboot)} reboots {device}, which may run on something that it has not saved"
        yield broken("settings", what, (reboot.id, device))
    for step in own.steps:
        kept = step.kind in _WRITES_NOTHING or (interrupts(case, step) and _reboots(case, step))
        after = order.before(reboot, step)
        if kept or after or any(order.before(step, save) for save in saves):
            continue
        what = f"{label(reboot)} reboots {device}, which may not have saved {label(step)} by then"
        yield broken("settings", what, (reboot.id, step.id))
