"""What failures hold back: devices, by the kind of failure and by the terms; and their steps."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from orchestrator.facility.step import Step
from orchestrator.running.events import Failed, Failure
from orchestrator.running.terms import AfterFailure, held

GONE = (Failure.UNREACHABLE, Failure.WRONG_DEVICE)
"""Failures after which nothing more is done on that device, whatever the terms say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stuck:
    """The failures of a run, and the terms on which they hold back what is left.

    ``steps`` by id. ``failures`` stand failed; ``lost`` are steps that a device went back on.
    ``rooms`` gives the room of every device of the run.
    """

    steps: Mapping[str, Step]
    failures: tuple[Failed, ...]
    lost: tuple[Failed, ...]
    policy: AfterFailure
    rooms: Mapping[str, str]

    def devices(self) -> frozenset[str]:
        """The devices on which nothing new is begun."""
        if not self.failures and not self.lost:
            return frozenset()
        stuck = [self._device(failed) for failed in (*self.failures, *self.lost)]
        gone = {
            self._device(failed) for failed in self.failures if failed.unsure or failed.why in GONE
        }
        return held(self.policy, stuck, self.rooms) | gone

    def hopeless(self, waiting: Iterable[Step]) -> set[str]:
        """The steps that failed, or can't start any more as things stand: they hold back nobody.

        ``waiting`` are the steps that are neither proved nor in hand.
        """
        hopeless = {failed.step for failed in self.failures}
        if not self.failures and not self.lost:
            return hopeless
        devices, lost = self.devices(), {failed.step for failed in self.lost}
        left = [step for step in waiting if step.id not in hopeless]
        found = True
        while found:
            bad = hopeless | lost
            dead = {
                step.id for step in left if step.device in devices or not bad.isdisjoint(step.after)
            }
            found = bool(dead)
            hopeless |= dead
            left = [step for step in left if step.id not in dead]
        return hopeless

    def words(self) -> Iterator[str]:
        """What the terms hold back beside the devices themselves."""
        if self.policy is AfterFailure.HOLD_ALL:
            yield "nothing more was begun anywhere"
        elif self.policy is not AfterFailure.HOLD_DEVICE:
            rooms = {self.rooms[self._device(failed)] for failed in self.failures}
            yield f"nothing more was begun in {' and '.join(sorted(rooms))}"

    def _device(self, failed: Failed) -> str:
        return self.steps[failed.step].device
