"""The loop that joins a run, the devices, the ledger and the clock."""

from orchestrator.actions.interrupts import Interrupts
from orchestrator.running.protocols import (
    Clock,
    Ledger,
    OpenAdapter,
    Person,
    ProbeAddress,
    Reporter,
)
from orchestrator.running.run import Run


async def drive(
    run: Run,
    record_id: str,
    *,
    open_adapter: OpenAdapter,
    probe: ProbeAddress,
    ledger: Ledger,
    clock: Clock,
    reporter: Reporter,
    person: Person,
    interrupts: Interrupts | None = None,
) -> None:
    """Drive ``run`` until it is finished or paused; see ``run.finished`` and ``run.paused``."""
    raise NotImplementedError
