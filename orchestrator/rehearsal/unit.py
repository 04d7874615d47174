"""One simulated device: what it runs on, what it would boot with, and how it behaves."""

from dataclasses import replace

from orchestrator.facility.found import DeviceState, Found
from orchestrator.facility.step import Step, StepKind
from orchestrator.facility.traits import Saves, Traits
from orchestrator.running.present import put


class Unit:
    """A device made of what the survey says of it.

    It answers at the first address of its running state. ``away_until`` is the virtual time, in
    seconds, until which it answers nobody; ``silent``: it sends nothing meanwhile either.
    """

    def __init__(self, name: str, found: Found, traits: Traits) -> None:
        self.name = name
        self.traits = traits
        self.response_s = found.response_s
        self.running: DeviceState = found.state
        self.boots: DeviceState = found.state
        self.away_until = 0.0
        self.silent = False
        self._speaks_by = _spoken_to(found)

    @property
    def address(self) -> str:
        """Where it answers."""
        return self.running.interfaces[self._speaks_by].address

    def away(self, now: float) -> bool:
        """Whether it answers nobody now."""
        return now < self.away_until

    @property
    def _keeps_at_once(self) -> bool:
        return self.traits.saves is Saves.AT_ONCE

    def do(self, step: Step) -> None:
        """Let a step's write take effect."""
        if step.kind is StepKind.SAVE:
            self._take(self.running, unsaved=False)
            self.boots = self.running
            return
        self._take(put(self.running, step, step.wanted), unsaved=True)
        if self._keeps_at_once:
            self.boots = self.running

    def change(self, state: DeviceState) -> None:
        """Let another hand set its running state."""
        self._take(state, unsaved=True)
        if self._keeps_at_once:
            self.boots = self.running

    def _take(self, state: DeviceState, *, unsaved: bool) -> None:
        tells = self.running.unsaved is not None and not self._keeps_at_once
        self.running = replace(state, unsaved=unsaved) if tells else state

    def restarted_by(self, step: Step) -> None:
        """Keep a setting that restarts it, and lose what else is not saved."""
        self.boots = put(self.boots, step, step.wanted)
        self.reboot()

    def reboot(self) -> None:
        """Lose what is not saved."""
        self.running = self.boots
        self._take(self.running, unsaved=False)


def _spoken_to(found: Found) -> str:
    """The interface at whose address the device was found; else its first."""
    named = (name for name, held in found.state.interfaces.items() if held.address == found.at)
    return next(named, next(iter(found.state.interfaces)))
