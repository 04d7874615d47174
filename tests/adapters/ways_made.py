"""Ways made up for tests: what each can do and read, and adapters that answer from values."""

from dataclasses import dataclass, field
from typing import Any

from orchestrator.adapters.way import Opening, Way
from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.step import Step, StepKind
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import EVERYTHING, DeviceAdapter, Part

K = StepKind
STREAMS = frozenset({K.DISABLE, K.ENABLE, K.RENUMBER, K.REPOINT})
HOME = {"eth0": InterfaceState(address="127.44.3.71", prefix=24)}
WHOLE = DeviceState(
    identity=Identity(serial="TM-118", model="TN-8", firmware="2.7"),
    interfaces=HOME,
    sources={"mic": SourceState(number=421, groups=(), label="MIC", enabled=True)},
    destinations={"out": DestinationState(hears=311)},
    settings={"ptp_domain": 0},
    unsaved=False,
)


@dataclass
class Answering:
    """An adapter that answers from a value and remembers what it was asked."""

    traits: Traits
    state: DeviceState = WHOLE
    response_s: float = 0.0
    asked: list[Any] = field(default_factory=list)

    async def identify(self) -> Identity:
        """Say who it is."""
        self.asked.append("identity")
        return self.state.identity

    async def read(self, parts: frozenset[Part] = EVERYTHING) -> DeviceState:
        """Give the parts."""
        self.asked.append(parts)
        held: dict[str, Any] = {part.value: getattr(self.state, part) for part in parts}
        return DeviceState(identity=self.state.identity, **{"interfaces": {}, **held})

    async def write(self, step: Step, *more: Step) -> None:
        """Take the step."""
        self.asked += [step, *more]

    async def close(self) -> None:
        """Let go."""
        self.asked.append("close")


def way(name: str, *kinds: StepKind, reads: frozenset[Part] = EVERYTHING, **traits: Any) -> Way:
    """A way that can do these kinds of step."""
    made = Traits(can=frozenset({*kinds, K.CONFIRM, K.BY_HAND}), **traits)

    def opened(_to: Opening) -> DeviceAdapter:
        return Answering(made)

    return Way(name=name, traits=made, port=lambda _: 80, open=opened, reads=reads)


NOBODY_CAN = Traits(can=frozenset())
"""Of a device that can do nothing."""
