"""H6: nothing off limits, nothing on air and nothing outside the chosen rooms is touched."""

from collections.abc import Iterator

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Step, StepKind
from orchestrator.planning.proof.case import Case, broken, label
from orchestrator.planning.proof.settings import interrupts


class Leave:
    """Looks at what each step touches, and whether it has leave to."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.scene = case.scene
        self.plan = case.scene.plan
        self.order = case.order
        self.replay = case.replay
        self.own = case.replay.own

    def found(self) -> Iterator[Hazard]:
        """Nothing off limits, on air or elsewhere is touched without leave."""
        on_air = self._on_air()
        concerned = {ref.device for ref in on_air}
        for device, own in self.own.items():
            planned, steps = self.plan.devices[device], own.steps
            if planned.off_limits is not None and not self.scene.released(device):
                yield broken(
                    "H6",
                    f"{label(steps[0])} touches {device}, which is off limits",
                    (steps[0].id, device),
                )
            if planned.room in self.scene.rooms and device not in concerned:
                continue
            for step in steps:
                if planned.room not in self.scene.rooms:
                    yield from self._elsewhere(step)
                for ref in self._silenced(step):
                    if ref in on_air and not self.scene.released(ref.device, ref.name):
                        yield broken(
                            "H6",
                            f"{label(step)} interrupts {ref}, which is on air",
                            (step.id, str(ref)),
                        )

    def _elsewhere(self, step: Step) -> Iterator[Hazard]:
        """Outside the chosen rooms only listeners follow, accepted by name, and are saved."""
        if step.kind is StepKind.SAVE:
            return
        name = f"listener:{step.device}/{step.destination}"
        if step.kind is StepKind.REPOINT and name in self.scene.accepted:
            return
        yield broken(
            "H6",
            f"{label(step)} alters a room that was not chosen, and nobody accepted it",
            (step.id, step.device),
        )

    def _on_air(self) -> set[Ref]:
        on_air = set(self.plan.on_air)
        feeding: set[Ref] = set()
        for pointed in self.replay.pointed:
            if pointed.begins is None and pointed.destination in on_air:
                for thing in pointed.held:
                    feeding.update(
                        Ref(*span.owner.split("/", 1))
                        for span in thing.spans
                        if span.taken is None and "/" in span.owner
                    )
        for ref in self.plan.on_air:
            if ref.device in self.replay.states:
                continue
            planned = self.plan.devices[ref.device].destinations.get(ref.name)
            if planned and planned.listens_to and planned.listens_to.source:
                feeding.add(planned.listens_to.source)
        return on_air | feeding

    def _silenced(self, step: Step) -> Iterator[Ref]:
        if step.kind in {StepKind.DISABLE, StepKind.RENUMBER} and step.source:
            yield Ref(step.device, step.source)
        elif step.kind is StepKind.REPOINT and step.destination:
            yield Ref(step.device, step.destination)
        elif step.kind is StepKind.READDRESS or interrupts(self.case, step):
            state = self.replay.states[step.device]
            for name in (*state.sources, *state.destinations):
                yield Ref(step.device, name)
