"""Where runs are recorded, and the lock that keeps it to one run at a time.

``SqliteLedger`` stores runs and their events in ``runs/ledger.sqlite`` of the facility's folder;
``hold`` takes the facility's lock. Whatever goes wrong with either is a ``LedgerError``.
"""

from orchestrator.ledger.lock import Held, Holder, hold
from orchestrator.ledger.store import SqliteLedger, ledger_path

__all__ = ["Held", "Holder", "SqliteLedger", "hold", "ledger_path"]
