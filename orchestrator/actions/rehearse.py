"""Rehearse: the change run many times on simulated devices, before a real one is touched."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from orchestrator.actions.desk import Desk
from orchestrator.actions.propose import Choice, scene_of
from orchestrator.facility.found import AsFound
from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Sequence as Steps
from orchestrator.rehearsal.premises import Premises
from orchestrator.rehearsal.rehearse import many
from orchestrator.reports.words import step_words
from orchestrator.running.rehearsed import Fault, Rehearsal


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """How to rehearse.

    ``times``: how often under each sort of trouble; ``seed``: of the first. ``faults`` are there
    every time; ``drawn`` more are drawn by chance each time. With ``drawn`` None and no ``faults``
    it is rehearsed twice over: with devices as they were found, and with one fault each time.
    """

    times: int = 50
    seed: int = 1
    faults: tuple[Fault, ...] = ()
    drawn: int | None = None

    @property
    def sorts(self) -> tuple[int, ...]:
        """How many faults are drawn, for each sort of trouble."""
        if self.drawn is not None:
            return (self.drawn,)
        return (0,) if self.faults else (0, 1)


def rehearse(
    desk: Desk,
    found: AsFound,
    sequence: Steps,
    choice: Choice,
    wish: Wish,
    *,
    told: Callable[[int], None] = lambda _: None,
) -> Sequence[Rehearsal]:
    """Rehearse ``sequence`` on devices made of ``found``. Nothing is sent, and nothing is stored.

    Raises:
        CallError: a fault is wished that can't touch this sequence.
    """
    scene = scene_of(desk, found, choice)
    premises = Premises(
        plan=desk.plan,
        found=found,
        traits=desk.traits,
        sequence=sequence,
        patience=desk.patience,
        timeouts=_timeouts(desk),
        meant={
            Ref(device, name): held.listens_to
            for device, asked in scene.asked.items()
            for name, held in asked.destinations.items()
            if held.listens_to is not None
        },
        terms=choice.terms,
        released=frozenset(release.what for release in scene.releases),
    )
    return [
        many(
            premises,
            times=wish.times,
            seed=wish.seed,
            words=step_words,
            faults=wish.faults,
            drawn=drawn,
            told=told,
        )
        for drawn in wish.sorts
    ]


def _timeouts(desk: Desk) -> dict[str, float]:
    """The patience for one request that the device descriptions ask for."""
    known = desk.documents.descriptions
    return {
        name: known[way].timeout_s
        for name, device in desk.plan.devices.items()
        if (way := next((one for one in device.speaks if one in known), None)) is not None
    }
