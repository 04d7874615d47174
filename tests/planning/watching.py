"""A second watcher beside the simulated facility: the rules that look at one step and one device.

H5 (after a readdress the device is confirmed before anything else), H6 (leave) and H7 (a write
starts from what is there, on the device meant). It knows the plan, the devices as found and what
each kind of step writes, and shares nothing with the planner or the proof.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue
from orchestrator.facility.traits import Effect
from orchestrator.planning.scene import Scene

K = StepKind


@dataclass
class Watch:
    """What every device holds, written thing by written thing, and which are not confirmed yet.

    ``on_air`` are the destinations listed as on air and the sources that feed them at the start.
    """

    scene: Scene
    on_air: frozenset[tuple[str, str]]
    values: dict[tuple[str, str], StepValue] = field(default_factory=dict)
    unsure: frozenset[tuple[str, str]] = frozenset()

    @classmethod
    def of(cls, scene: Scene, on_air: frozenset[tuple[str, str]]) -> "Watch":
        """Every device as it was found."""
        watch = cls(scene, on_air)
        for name, state in scene.states.items():
            watch.values.update({(name, key): value for key, value in _found(state)})
        return watch

    def copy(self) -> "Watch":
        """A watch that knows what this one knows."""
        return replace(self, values=dict(self.values))

    def land(self, step: Step) -> Iterator[str]:
        """What is wrong with ``step`` as it lands, now."""
        yield from self._confirmed_first(step)
        yield from self._from_what_is_there(step)
        yield from self._with_leave(step)

    def over(self) -> Iterator[str]:
        """What is wrong once every step is proved."""
        for device, _ in sorted(self.unsure):
            yield f"H5 {device} was never confirmed where it went"

    def _confirmed_first(self, step: Step) -> Iterator[str]:
        value = step.wanted
        place = (step.device, value.interface if isinstance(value, AddressValue) else "")
        if step.kind is K.CONFIRM:
            self.unsure -= {place}
            return
        if any(device == step.device for device, _ in self.unsure):
            yield f"H5 {step.id} is sent before {step.device} was confirmed where it went"
        if step.kind is K.READDRESS:
            self.unsure |= {place}

    def _from_what_is_there(self, step: Step) -> Iterator[str]:
        serial = self.scene.plan.devices[step.device].serial
        named = f"serial:{step.device}" in self.scene.accepted
        if serial != self.scene.states[step.device].identity.serial and not (
            serial is None and named
        ):
            yield f"H7 {step.id} writes to a device that is not known to be {step.device}"
        key = (step.device, _thing(step))
        if not key[1]:
            return
        if self.values.get(key) != step.as_found:
            yield f"H7 {step.id} takes {step.as_found} for granted, {self.values.get(key)} is there"
        self.values[key] = step.wanted

    def _with_leave(self, step: Step) -> Iterator[str]:
        device = self.scene.plan.devices[step.device]
        leave = {release.what for release in self.scene.releases}
        if device.off_limits is not None and step.device not in leave:
            yield f"H6 {step.id} touches {step.device}, which is off limits"
        follows = step.kind is K.REPOINT and f"listener:{step.subject}" in self.scene.accepted
        if device.room not in self.scene.rooms and step.kind is not K.SAVE and not follows:
            yield f"H6 {step.id} is in {device.room}"
        for name in self._silenced(step):
            if (step.device, name) in self.on_air and not leave & {
                step.device,
                f"{step.device}/{name}",
            }:
                yield f"H6 {step.id} interrupts {step.device}/{name}"

    def _silenced(self, step: Step) -> Iterator[str]:
        effects = self.scene.traits[step.device].effects
        of_device = step.kind is K.SET and step.source is None
        if step.kind is K.READDRESS or (
            of_device and effects.get(step.setting or "", Effect.NONE) is not Effect.NONE
        ):
            state = self.scene.states[step.device]
            yield from (*state.sources, *state.destinations)
        elif step.kind in {K.DISABLE, K.RENUMBER, K.REPOINT}:
            yield step.source or step.destination or ""


def _thing(step: Step) -> str:
    """What a step writes, by a name of its own; empty for what writes no value."""
    value = step.wanted
    match step.kind:
        case K.DISABLE | K.ENABLE:
            return f"switch of {step.source}"
        case K.RENUMBER:
            return f"number of {step.source}"
        case K.REPOINT:
            return f"pointer of {step.destination}"
        case K.SET:
            return f"{step.setting} of {step.source or 'the device'}"
        case K.READDRESS if isinstance(value, AddressValue):
            return f"address of {value.interface}"
        case _:
            return ""


def _found(state: DeviceState) -> Iterator[tuple[str, StepValue]]:
    for name, source in state.sources.items():
        yield f"switch of {name}", source.enabled
        yield f"number of {name}", Assigned(source.number, source.groups)
        yield f"label of {name}", source.label
    for name, destination in state.destinations.items():
        heard = destination.hears
        yield (
            f"pointer of {name}",
            Hearing(number=heard) if isinstance(heard, int) else Hearing(group=heard),
        )
    for name, interface in state.interfaces.items():
        held = AddressValue(name, interface.address, interface.prefix, interface.gateway)
        yield f"address of {name}", held
    for name, setting in state.settings.items():
        yield f"{name} of the device", setting
