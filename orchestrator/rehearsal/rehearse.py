"""Drives the real machine over the simulated facility: once, and many times."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from heapq import heappop, heappush
from itertools import count
from random import Random

from orchestrator.facility.step import Step
from orchestrator.rehearsal.premises import Premises
from orchestrator.rehearsal.site import Site
from orchestrator.rehearsal.troubles import check, possible
from orchestrator.running.events import Event
from orchestrator.running.operations import (
    Ask,
    Elapsed,
    Look,
    Looked,
    Moment,
    Operation,
    Outcome,
    Probe,
    Read,
    ReadClock,
    Reply,
    Rest,
    Store,
    Stored,
    Wait,
    Write,
)
from orchestrator.running.rehearsed import Fault, Held, Rehearsal, Time
from orchestrator.running.run import Run

MOST_OPERATIONS = 2000
"""How many operations a step may take on the average before a rehearsal is called endless."""

MOST_RESUMES = 8
"""How often a paused run is resumed before it counts as stuck. Our own choice."""

Words = Callable[[Step], str]
"""What a step does, in words."""


@dataclass
class _Loop:
    """One run on one site: the synchronous twin of the loop that drives real devices."""

    premises: Premises
    site: Site
    events: list[Event] = field(default_factory=list)
    operations: int = 0

    def go(self) -> Run:
        """Drive until the run finishes or pauses, or takes suspiciously long."""
        run = Run(
            self.premises.sequence,
            self.premises.expects,
            self.events,
            patience=self.premises.patience,
            found={name: entry.state for name, entry in self.premises.units.items()},
            terms=self.premises.terms,
            rooms=self.premises.rooms,
            audits=True,
        )
        order = count()
        open_now: list[tuple[float, int, float, Operation]] = []
        most = MOST_OPERATIONS * max(1, len(self.premises.sequence.steps))
        while self.operations < most:
            for operation in run.ready():
                seconds = self._takes(operation)
                heappush(open_now, (self.site.now + seconds, next(order), seconds, operation))
            if not open_now:
                return run
            when, _, seconds, operation = heappop(open_now)
            self.site.pass_to(when)
            self.operations += 1
            run.settle(operation, self._outcome(operation, seconds))
        self.site.judge.broken.append("the run does not come to an end")
        return run

    def _takes(self, operation: Operation) -> float:
        match operation:
            case Read() | Write() | Probe():
                return self.site.takes(operation)
            case Wait(seconds=seconds) | Rest(seconds=seconds):
                return seconds
            case _:
                return 0.0

    def _outcome(  # noqa: PLR0911 - one return an operation
        self, operation: Operation, took: float
    ) -> Outcome:
        match operation:
            case Store(events=events):
                self.events.extend(events)
                return Stored()
            case Read():
                return self.site.read(operation)
            case Write():
                return self.site.write(operation, took)
            case Probe():
                return self.site.probe(operation)
            case Wait() | Rest():
                return Elapsed()
            case Ask():
                return Reply(go=True, by="rehearsal")
            case Look():
                return Looked(())  # what is amiss, the judge sees
            case ReadClock():
                return Moment((self.premises.begins + timedelta(seconds=self.site.now)).isoformat())


def once(premises: Premises, faults: Sequence[Fault], seed: int, words: Words) -> Time:
    """Rehearse once; the same seed gives the same rehearsal.

    A run that pauses is resumed when the trouble is over, more than once if it has to be.
    """
    site = Site(premises, tuple(faults), Random(seed))  # noqa: S311 - chance that can be had again
    loop = _Loop(premises, site)
    run = loop.go()
    finished, seconds, left = run.finished, site.now, site.silences.now
    silent = dict(site.silences.longest)
    held = () if finished else _held(run, premises, words)
    resumes = 0
    while not run.finished and resumes < MOST_RESUMES:
        site.calm()
        run = loop.go()
        resumes += 1
    return Time(
        seed=seed,
        faults=tuple(faults),
        finished=finished,
        resumes=resumes if run.finished else None,
        seconds=seconds,
        held=held,
        silent=silent,
        left_silent=() if finished else left,
        broken=tuple(site.judge.broken),
    )


def _held(run: Run, premises: Premises, words: Words) -> tuple[Held, ...]:
    steps = {step.id: step for step in premises.sequence.steps}
    found = [
        Held(steps[name].device, f"{steps[name].subject}: {words(steps[name])}", failed.said)
        for name, failed in run.state.failures.items()
    ]
    return tuple(found) or (Held("", "", run.paused or "it did not end"),)


def many(
    premises: Premises,
    *,
    times: int,
    seed: int,
    words: Words,
    faults: Sequence[Fault] = (),
    drawn: int = 0,
    told: Callable[[int], None] = lambda _: None,
) -> Rehearsal:
    """Rehearse ``times`` times, with the seeds from ``seed`` on.

    ``faults`` are there every time; ``drawn`` more are drawn by chance each time. ``told`` is
    given the number of each rehearsal that is done.

    Raises:
        CallError: a fault that can't touch this sequence.
    """
    check(faults, premises.sequence)
    choices = [fault for fault in possible(premises.sequence) if fault not in faults]
    done = []
    for number in range(times):
        draw = Random(f"faults {seed + number}")  # noqa: S311 - as above
        more = draw.sample(choices, min(drawn, len(choices)))
        done.append(once(premises, (*faults, *sorted(more)), seed + number, words))
        told(number + 1)
    return Rehearsal(given=_given(faults, drawn), calm=not faults and not drawn, times=tuple(done))


def _given(faults: Sequence[Fault], drawn: int) -> str:
    parts = [str(fault) for fault in faults]
    if drawn:
        parts.append(f"{drawn} drawn by chance each time")
    return ", ".join(parts)
