"""H4, H5 and H9: readdress is last, with all off and saved, and confirmed before all else."""

from collections.abc import Iterator
from ipaddress import IPv4Address

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.proof.case import Case, broken, label, still_on
from orchestrator.planning.proof.lines import Own

AFTER_A_READDRESS = frozenset(
    {StepKind.CONFIRM, StepKind.SAVE, StepKind.REPOINT, StepKind.ENABLE, StepKind.SET}
)


class Readdresses:
    """Looks at each readdress and at what stands around it on its device."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.scene = case.scene
        self.plan = case.scene.plan
        self.order = case.order
        self.replay = case.replay
        self.own = case.replay.own

    def found(self) -> Iterator[Hazard]:
        """Readdress is last, with all sources off, and confirmed before anything else."""
        for device, own in self.own.items():
            steps = own.steps
            for move in own.moves:
                yield from self._all_off(device, move)
                yield from self._last(steps, move)
                yield from self._confirmed(steps, move)
                yield from self._out_of_transit(steps, own.moves, move)
                yield from self._boots_clean(device, own, move)

    def _all_off(self, device: str, move: Step) -> Iterator[Hazard]:
        for name, switch in still_on(self.case, device, move):
            if switch is not None:
                yield broken(
                    "H4", f"{label(switch)} may fall into {label(move)}", (move.id, switch.id)
                )
            else:
                yield broken(
                    "H4",
                    f"{label(move)} moves the device while {device}/{name} is enabled",
                    (move.id, f"{device}/{name}"),
                )

    def _last(self, steps: list[Step], move: Step) -> Iterator[Hazard]:
        leaves = self._leaves(move)
        for step in steps:
            if step is move or step.kind is StepKind.READDRESS or self.order.before(step, move):
                continue
            allowed = step.kind in AFTER_A_READDRESS and not (
                step.kind is StepKind.SET and step.source is not None
            )
            if allowed or (leaves and step.kind in {StepKind.RENUMBER, StepKind.SET}):
                continue
            yield broken(
                "H4", f"{label(step)} does not come before {label(move)}", (move.id, step.id)
            )

    def _leaves(self, move: Step) -> bool:
        return isinstance(move.wanted, AddressValue) and (
            self.replay.net(move.wanted.address) is None
        )

    def _confirmed(self, steps: list[Step], move: Step) -> Iterator[Hazard]:
        confirm = self.replay.confirm_of(move)
        if confirm is None:
            yield broken("H5", f"{label(move)} is not followed by a confirm", (move.id,))
            return
        for step in steps:
            if step is move or step is confirm:
                continue
            if not self.order.before(step, move) and not self.order.before(confirm, step):
                yield broken(
                    "H5",
                    f"{label(step)} may be sent before {label(confirm)} has found the device",
                    (move.id, step.id),
                )

    def _out_of_transit(self, steps: list[Step], moves: list[Step], move: Step) -> Iterator[Hazard]:
        if not self._in_transit(move):
            return
        home = [later for later in moves if self.order.before(move, later)]
        for step in steps:
            if step.kind is not StepKind.ENABLE:
                continue
            if not any(self.order.before(later, step) for later in home):
                yield broken(
                    "H4", f"{label(step)} enables a source at a transit address", (step.id, move.id)
                )

    def _in_transit(self, move: Step) -> bool:
        if not isinstance(move.wanted, AddressValue):
            return False
        network = self.plan.network_of(move.wanted.address)
        return network is not None and any(
            IPv4Address(move.wanted.address) in run for run in network.transit
        )

    def _boots_clean(self, device: str, own: Own, move: Step) -> Iterator[Hazard]:
        """A unit that joins must not boot inside the facility with its old settings (H9)."""
        joins = (
            isinstance(move.as_found, AddressValue)
            and self.replay.net(move.as_found.address) is None
            and not self._leaves(move)
        )
        if not joins or self.scene.traits[device].saves is not Saves.ON_SAVE:
            return
        saves = [save for save in own.saves if self.order.before(save, move)]
        for step in own.steps:
            if step.kind not in {StepKind.DISABLE, StepKind.RENUMBER}:
                continue
            if not any(self.order.before(step, save) for save in saves):
                yield broken(
                    "H9", f"{label(step)} is not saved before {label(move)}", (move.id, step.id)
                )
