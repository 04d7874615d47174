"""H7 and H3: each write starts from what is known, and no source is renumbered while enabled."""

from collections.abc import Iterator

from orchestrator.facility.found import DeviceState, SourceState
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.quick import maker
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue
from orchestrator.planning.proof.case import Case, broken, label
from orchestrator.planning.proof.lines import Own

Written = tuple[str, ...]
"""What a step writes: of which source, destination or interface, and which of its values."""

# Looked up once: a large sequence asks for the kind of a step a million times.
_DISABLE, _ENABLE = StepKind.DISABLE, StepKind.ENABLE
_RENUMBER, _REPOINT, _SET = StepKind.RENUMBER, StepKind.REPOINT, StepKind.SET
_assigned = maker(Assigned)


class Values:
    """Looks at each device's own writes, one line of steps after another."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.scene = case.scene
        self.plan = case.scene.plan
        self.order = case.order
        self.replay = case.replay
        self.own = case.replay.own

    def found(self) -> Iterator[Hazard]:
        """All of it, device by device."""
        for device, own in self.own.items():
            yield from self.values(device, own)
            yield from self.identity(device, own)
            yield from self.sources(device, own)

    def values(self, device: str, own: Own) -> Iterator[Hazard]:
        """Each write starts from what was found, or from what an earlier step made of it."""
        state = self.replay.states[device]
        last: dict[Written, Step] = {}
        for step in own.steps:
            if (key := _written(step)) is None:
                continue
            before = last.get(key)
            last[key] = step
            value = _found_value(state, step) if before is None else before.wanted
            if step.as_found != value:
                yield broken(
                    "H7",
                    f"{label(step)} expects {step.as_found}, but {value} will be there",
                    (step.id, f"{device}/{' '.join(key[:2])}"),
                )
            if before is not None and not self.order.before(before, step):
                yield broken(
                    "H7",
                    f"{label(before)} and {label(step)} write one thing in no fixed order",
                    (before.id, step.id),
                )

    def identity(self, device: str, own: Own) -> Iterator[Hazard]:
        """Nothing is written to a device that was not proved to be the one meant."""
        identity = self.replay.states[device].identity
        serial = self.plan.devices[device].serial
        if serial is None and f"serial:{device}" not in self.scene.accepted:
            what = f"{device} is to be written, but the plan does not say which unit it is"
        elif serial is not None and identity.serial != serial:
            what = f"{device} should be serial {serial}, but {identity} was found"
        else:
            return
        yield broken("H7", what, (own.steps[0].id, device))

    def sources(self, device: str, own: Own) -> Iterator[Hazard]:
        """Each source's own steps stand in one order, and it is renumbered only while disabled."""
        found, transit = self.replay.states[device].sources, self._transit(device)
        for name, line in own.of_source.items():
            yield from self._one_source(found[name], line, transit)

    def _one_source(
        self, found: SourceState, line: list[Step], transit: NumberRange | None
    ) -> Iterator[Hazard]:
        enabled, number = found.enabled, found.number
        previous: Step | None = None
        for step in line:
            kind = step.kind
            if kind is _SET:
                continue
            if previous is not None and not self.order.before(previous, step):
                yield broken(
                    "H3",
                    f"{label(previous)} and {label(step)} stand in no fixed order",
                    (previous.id, step.id),
                )
            previous = step
            if kind is _RENUMBER:
                if enabled:
                    yield broken("H3", f"{label(step)} renumbers it while enabled", (step.id,))
                number = step.wanted.number if isinstance(step.wanted, Assigned) else number
            elif kind is _DISABLE or kind is _ENABLE:
                enabled = kind is _ENABLE
                if enabled and transit is not None and number in transit:
                    yield broken("H4", f"{label(step)} enables it on transit {number}", (step.id,))

    def _transit(self, device: str) -> NumberRange | None:
        network = self.plan.networks[self.plan.devices[device].interfaces[0].network]
        return network.numbering.transit if network.numbering is not None else None


def _found_value(state: DeviceState, step: Step) -> StepValue:
    """What was found of what a step writes."""
    if isinstance(step.wanted, AddressValue):
        now = state.interfaces[step.wanted.interface]
        return AddressValue(step.wanted.interface, now.address, now.prefix, now.gateway)
    if step.destination is not None:
        hears = state.destinations[step.destination].hears
        return Hearing(number=hears) if isinstance(hears, int) else Hearing(group=hears)
    if step.source is None:
        return state.settings.get(step.setting or "")
    source = state.sources[step.source]
    if step.kind is _RENUMBER:
        return _assigned(source.number, source.groups)
    return source.label if step.kind is _SET else source.enabled


def _written(step: Step) -> Written | None:
    """What a step writes, so that steps that write one thing can be told from others."""
    kind = step.kind
    if kind is _RENUMBER:
        return (step.source or "", "number")
    if kind is _DISABLE or kind is _ENABLE:
        return (step.source or "", "enabled")
    if kind is _REPOINT:
        return (step.destination or "", "pointer")
    if kind is _SET:
        return (step.source or "", str(step.setting), "set")
    if isinstance(step.wanted, AddressValue) and kind is StepKind.READDRESS:
        return (step.wanted.interface, "address")
    return None
