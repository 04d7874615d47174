"""H9 for what nobody knows: a device that may boot with something else than it runs on.

What that holds was not read, so it may be anything: the device is saved before another one takes
or hears anything.
"""

from collections.abc import Iterator

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.proof.case import Case, broken, label

_TAKES = frozenset({StepKind.RENUMBER, StepKind.READDRESS, StepKind.REPOINT, StepKind.ENABLE})


def unsaved(case: Case) -> Iterator[Hazard]:
    """Each step that takes something before a device of ``save_first`` has surely saved.

    Nor before one that another hand has left unsaved, where the sequence writes to it at all.
    """
    left = case.scene.unsaved & case.replay.own.keys()
    for device in sorted(left | (case.scene.save_first & case.replay.states.keys())):
        if case.scene.traits[device].saves is Saves.AT_ONCE:
            continue
        own = case.replay.own.get(device)
        saves = own.saves if own is not None else []
        for step in case.sequence.steps:
            early = not any(case.order.before(save, step) for save in saves)
            if step.kind in _TAKES and step.device != device and early:
                yield broken(
                    "H9",
                    f"{label(step)} may be done before {device} has saved: nobody knows what it "
                    "would boot with",
                    (step.id, device),
                )
