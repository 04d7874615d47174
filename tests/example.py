"""The example facility and its simulated world, read for tests, and what they look for in them."""

from collections.abc import Iterator
from functools import cache
from pathlib import Path

from mocks.state import State
from mocks.world import World
from orchestrator.documents.folder import Documents, load_checked
from orchestrator.facility.plan import Device, ListensTo, Ref
from orchestrator.facility.wanted import AskedDevice, Unit

ROOT = Path(__file__).parent.parent
FACILITY = ROOT / "playbooks"
WORLD = ROOT / "mocks" / "tern_point.yaml"
FRESH, REUSED = "studio-north-engine", "talks-io"
ON_THE_BENCH = {FRESH, REUSED}
MISKEYED = Ref("studio-south-returns", "input-8")


@cache
def example() -> Documents:
    """The example's documents; this raises if there is any finding."""
    return load_checked(FACILITY)


def files() -> list[Path]:
    """Every document of the example."""
    return [
        FACILITY / "plan.yaml",
        *sorted((FACILITY / "playbooks").glob("*.yaml")),
        *sorted((FACILITY / "devices").glob("*.yaml")),
    ]


def running(world: World, device: str) -> State:
    """What runs on a simulated device."""
    return world.machine(device).memory.running


def slot(name: str) -> str:
    """The simulation's key for a connector: the TN-8's input-3 is its 3."""
    return name.removeprefix("input-").removeprefix("output-")


def own(device: Device, name: str) -> str:
    """The simulation's key for a source or destination that the plan names."""
    planned = device.sources.get(name) or device.destinations.get(name)
    return slot(planned.slot or name if planned else name)


def asked(documents: Documents) -> Iterator[AskedDevice]:
    """Everything that the playbooks ask, device by device."""
    for playbook in documents.playbooks:
        yield from playbook.devices.values()


def renumbered(documents: Documents) -> dict[Ref, tuple[int | None, int]]:
    """The sources in service that playbooks number: the plan's number, and the wanted one."""
    plan = documents.plan
    return {
        Ref(one.name, source.name): (
            plan.devices[one.name].sources[source.name].number,
            source.number,
        )
        for one in asked(documents)
        if one.unit is Unit.KNOWN
        for source in one.sources.values()
        if isinstance(source.number, int)
    }


def followers(documents: Documents, source: Ref) -> set[Ref]:
    """Every destination that listens to a source by the plan."""
    return {
        Ref(device.name, destination.name)
        for device in documents.plan.devices.values()
        for destination in device.destinations.values()
        if destination.listens_to == ListensTo(source=source)
    }
