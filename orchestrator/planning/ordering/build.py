"""From moves and changes to steps and the order that safety demands of them.

1. A source is disabled before it is renumbered, and enabled after (H3).
2. A move waits until what it takes has been let go of, read back and, where the device boots
   with something else, saved (H1, H2, H9).
3. Readdress is last: after every disable, renumber and label of the device; a joining unit saves
   first, so that a power cycle can't bring its old settings into the facility (H4, H9).
4. A readdress is confirmed by serial before anything else is sent; then saved, where it has to
   be; only then come repoints, enables and settings (H4, H5, H9).
5. A listener is pointed at the new number while its source is off: after the source's disable,
   before its enable. It leaves a number before anybody else is enabled on it, and comes to a
   number only when whoever must not be heard there has let go (H8).
6. A setting that interrupts, reboots or touches the plant is changed only while the device's
   sources are off; one that restarts a device which boots with what it saved comes first on it,
   after a save.
"""

from collections.abc import Mapping

from orchestrator.facility.found import DeviceState
from orchestrator.planning.aims.listeners import Hearing
from orchestrator.planning.ordering.between import Between
from orchestrator.planning.ordering.device_steps import DeviceSteps
from orchestrator.planning.ordering.drafts import Graph
from orchestrator.planning.ordering.moves import Move
from orchestrator.planning.ordering.readdress_steps import ReaddressSteps
from orchestrator.planning.ordering.restarts import all_else_after, save_before
from orchestrator.planning.ordering.work import Work
from orchestrator.planning.scene import Scene


def build(
    scene: Scene, wanted: Mapping[str, DeviceState], found: list[Move], heard: Hearing
) -> Graph:
    """Make every step and the order among them. The moves must be free of cycles."""
    work = Work(scene, wanted, found, heard)
    steps, readdresses = DeviceSteps(work), ReaddressSteps(work)
    for name in scene.plan.devices:
        if name in scene.states and wanted[name] != scene.states[name]:
            steps.device(name)
            save_before(work, name)
            readdresses.device(name)
            all_else_after(work, name)
    Between(work).put()
    return work.graph
