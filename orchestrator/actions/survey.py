"""The survey: what the devices say of themselves now."""

from collections.abc import Mapping

from orchestrator.facility.found import AsFound
from orchestrator.facility.plan import Plan
from orchestrator.facility.wanted import AskedDevice
from orchestrator.running.protocols import Clock, OpenAdapter


async def survey(
    plan: Plan,
    asked: Mapping[str, AskedDevice],
    open_adapter: OpenAdapter,
    clock: Clock,
    *,
    width: int = 32,
    also: Mapping[str, tuple[str, ...]] | None = None,
) -> AsFound:
    """Ask every device of ``plan`` that the tool speaks to; a device's error stops no other."""
    raise NotImplementedError
