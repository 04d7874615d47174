"""What a rehearsal takes for granted: the facility as it was found, and what is to be run."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from orchestrator.facility.found import AsFound, Found, Identity
from orchestrator.facility.plan import ListensTo, Plan, Ref
from orchestrator.facility.step import Sequence
from orchestrator.facility.traits import Traits
from orchestrator.running.steps.patience import Patience
from orchestrator.running.terms import Terms


@dataclass(frozen=True, kw_only=True)
class Premises:
    """What is rehearsed.

    ``timeouts`` gives the seconds after which a request of a device counts as not answered.
    ``meant`` is what playbooks point destinations at. ``released`` names devices, sources and
    destinations (``device`` or ``device/name``) with a release that has not expired. ``terms`` are
    those of the run.
    """

    plan: Plan
    found: AsFound
    traits: Mapping[str, Traits]
    sequence: Sequence
    patience: Mapping[str, Patience] = field(default_factory=dict)
    timeouts: Mapping[str, float] = field(default_factory=dict)
    meant: Mapping[Ref, ListensTo] = field(default_factory=dict)
    released: frozenset[str] = frozenset()
    terms: Terms = field(default_factory=Terms)

    @property
    def begins(self) -> datetime:
        """When it begins: as the window opens, if there is one; else when the survey was made."""
        window = self.terms.window
        return datetime.fromisoformat(self.found.taken_at if window is None else window.opens)

    @property
    def rooms(self) -> Mapping[str, str]:
        """Each device's room."""
        return {name: device.room for name, device in self.plan.devices.items()}

    @property
    def units(self) -> Mapping[str, Found]:
        """The devices that were found."""
        entries = self.found.devices.items()
        return {name: entry for name, entry in entries if isinstance(entry, Found)}

    @property
    def expects(self) -> Mapping[str, Identity]:
        """Who each device of the sequence must prove to be."""
        touched = dict.fromkeys(step.device for step in self.sequence.steps)
        return {name: self.units[name].state.identity for name in touched}

    def network_at(self, address: str) -> str | None:
        """The facility network of an address; None for a bench or an unknown one."""
        network = self.plan.network_of(address)
        return network.name if network is not None and not network.bench else None
