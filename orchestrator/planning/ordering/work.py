"""What the builders of a sequence share: the inputs, the growing graph, and who is where in it."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from orchestrator.facility.found import DeviceState
from orchestrator.facility.plan import Ref
from orchestrator.facility.step import StepKind, StepValue
from orchestrator.facility.traits import Traits
from orchestrator.planning.aims.listeners import Hearing
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.ordering.moves import Move
from orchestrator.planning.scene import Scene


@dataclass
class Work:
    """One sequence in the making.

    ``move_step`` is the step that makes a move; ``freed_at`` the step whose proof lets go of
    what it held (a save, where the device boots with what is saved). ``settled`` is the last
    step of a device's readdress: before it nothing else may be sent there. ``restarts`` are the
    steps of a device that restart it, where that takes back what was not saved. ``joins``: the
    devices that join the facility. ``where``: the room of a device, and where it was found.
    """

    scene: Scene
    wanted: Mapping[str, DeviceState]
    moves: list[Move]
    heard: Hearing
    graph: Graph = field(default_factory=Graph)
    move_step: dict[int, int] = field(default_factory=dict)
    freed_at: dict[int, int] = field(default_factory=dict)
    disable: dict[Ref, int] = field(default_factory=dict)
    enable: dict[Ref, int] = field(default_factory=dict)
    repoint: dict[Ref, int] = field(default_factory=dict)
    settled: dict[str, int] = field(default_factory=dict)
    restarts: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    of_device: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    moves_of: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    joins: set[str] = field(default_factory=set)
    where: dict[str, tuple[str, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Index the moves by device."""
        for index, move in enumerate(self.moves):
            self.moves_of[move.device].append(index)
            if move.joins:
                self.joins.add(move.device)

    def traits(self, device: str) -> Traits:
        """The traits of ``device``."""
        return self.scene.traits[device]

    def add(
        self,
        device: str,
        kind: StepKind,
        *,
        as_found: StepValue = None,
        wanted: StepValue = None,
        source: str | None = None,
        destination: str | None = None,
        setting: str | None = None,
        after: int | None = None,
    ) -> int:
        """Add a step of ``device``, spoken to where it was found, and give its index.

        ``after``: a step of its own source that it comes after, if there is one.
        """
        where = self.where.get(device)
        if where is None:
            here = self.scene.found.devices[device].at
            where = self.where[device] = (self.scene.room_of(device), here)
        room, at = where
        first = {} if after is None else {after: ""}
        index = self.graph.add(
            Draft(kind, device, room, at, as_found, wanted, source, destination, setting, first)
        )
        self.of_device[device].append(index)
        return index
