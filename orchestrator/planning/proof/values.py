"""H7 and H3: each write starts from what is known, and no source is renumbered while enabled."""

from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.numbering import Numbering
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue
from orchestrator.planning.proof.case import Case, broken, label


class Values:
    """Looks at each device's own writes, one line of steps after another."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.scene = case.scene
        self.plan = case.scene.plan
        self.order = case.order
        self.replay = case.replay
        self.steps = case.replay.steps

    def values(self) -> Iterator[Hazard]:
        """Each write starts from what was found, or from what an earlier step made of it."""
        for device, steps in self.steps.items():
            lines: dict[str, list[Step]] = defaultdict(list)
            for step in steps:
                if (key := _written(step)) is not None:
                    lines[key].append(step)
            for key, line in lines.items():
                yield from self._one_line(device, key, line)

    def _one_line(self, device: str, key: str, line: list[Step]) -> Iterator[Hazard]:
        """Steps that write one thing, in order."""
        value = self._found_value(device, line[0])
        for step in line:
            if step.as_found != value:
                yield broken(
                    "H7",
                    f"{label(step)} expects {step.as_found}, but {value} will be there",
                    (step.id, f"{device}/{key}"),
                )
            value = step.wanted
        for first, then in pairwise(line):
            if not self.order.before(first, then):
                yield broken(
                    "H7",
                    f"{label(first)} and {label(then)} write one thing in no fixed order",
                    (first.id, then.id),
                )

    def _found_value(self, device: str, step: Step) -> StepValue:
        state = self.replay.states[device]
        if isinstance(step.wanted, AddressValue):
            now = state.interfaces[step.wanted.interface]
            return AddressValue(step.wanted.interface, now.address, now.prefix, now.gateway)
        if step.destination is not None:
            hears = state.destinations[step.destination].hears
            return Hearing(number=hears) if isinstance(hears, int) else Hearing(group=hears)
        if step.source is None:
            return state.settings.get(step.setting or "")
        source = state.sources[step.source]
        if step.kind is StepKind.RENUMBER:
            return Assigned(source.number, source.groups)
        return source.label if step.kind is StepKind.SET else source.enabled

    def identities(self) -> Iterator[Hazard]:
        """Nothing is written to a device that was not proved to be the one meant."""
        for name, steps in self.steps.items():
            identity = self.replay.states[name].identity
            serial = self.plan.devices[name].serial
            if serial is None and f"serial:{name}" not in self.scene.accepted:
                what = f"{name} is to be written, but the plan does not say which unit it is"
            elif serial is not None and identity.serial != serial:
                what = f"{name} should be serial {serial}, but {identity} was found"
            else:
                continue
            yield broken("H7", what, (steps[0].id, name))

    def sources(self) -> Iterator[Hazard]:
        """Each source's own steps stand in one order, and it is renumbered only while disabled."""
        for device, steps in self.steps.items():
            by_source: dict[str, list[Step]] = defaultdict(list)
            for step in steps:
                if step.source is not None and step.kind is not StepKind.SET:
                    by_source[step.source].append(step)
            for name, line in by_source.items():
                yield from self._one_source(device, name, line)

    def _one_source(self, device: str, name: str, line: list[Step]) -> Iterator[Hazard]:
        enabled = self.replay.states[device].sources[name].enabled
        numbering = self._numbering(device)
        number = self.replay.states[device].sources[name].number
        for previous, step in zip([None, *line[:-1]], line, strict=True):
            if previous is not None and not self.order.before(previous, step):
                yield broken(
                    "H3",
                    f"{label(previous)} and {label(step)} stand in no fixed order",
                    (previous.id, step.id),
                )
            if step.kind is StepKind.RENUMBER:
                if enabled:
                    yield broken("H3", f"{label(step)} renumbers it while enabled", (step.id,))
                number = step.wanted.number if isinstance(step.wanted, Assigned) else number
            if step.kind is StepKind.DISABLE:
                enabled = False
            if step.kind is not StepKind.ENABLE:
                continue
            enabled = True
            if numbering is not None and number in (numbering.transit or ()):
                yield broken("H4", f"{label(step)} enables it on transit {number}", (step.id,))

    def _numbering(self, device: str) -> Numbering | None:
        network = self.plan.networks[self.plan.devices[device].interfaces[0].network]
        return network.numbering


def _written(step: Step) -> str | None:
    """What a step writes, so that steps that write one thing can be lined up."""
    match step.kind:
        case StepKind.DISABLE | StepKind.ENABLE:
            return f"{step.source} enabled"
        case StepKind.RENUMBER:
            return f"{step.source} number"
        case StepKind.REPOINT:
            return f"{step.destination} pointer"
        case StepKind.SET:
            return f"{step.source or ''} {step.setting}"
        case StepKind.READDRESS if isinstance(step.wanted, AddressValue):
            return f"{step.wanted.interface} address"
        case _:
            return None
