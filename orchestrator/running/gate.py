"""The go/no-go point before a phase, as a table like that of a step: (point, happening) -> point.

Before a phase but the first: everything is read and audited, and then watched for the soak time;
the clock says whether the phase and its way back still fit into the window; a person says go or
no-go; and the clock is read once more, since people take their time. What an audit finds is asked
about under a name of its own, which a go does not answer. Before the first phase, only the clock.

A point that is shut pauses the run; at a resume it is gone through anew.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum

from orchestrator.running.events import Answered, Asked, Checked, Event
from orchestrator.running.operations import (
    ANSWERS,
    Ask,
    Elapsed,
    Look,
    Looked,
    Moment,
    Operation,
    Outcome,
    ReadClock,
    Reply,
    Rest,
    Store,
    Stored,
)
from orchestrator.running.steps.life import OutOfTurn
from orchestrator.running.window import Limits

WATCH_S = 30.0
"""Seconds between two looks while a phase soaks. Our own choice."""


class Point(StrEnum):
    """Where a go/no-go point stands, by what is being done."""

    LOOKING = "read and audit everything"
    NOTING = "store that it was clean"
    TELLING = "store what was found"
    DOUBTING = "ask a person about what was found"
    ACCEPTING = "store the answer about what was found"
    SOAKING = "let it soak"
    TIMING = "read the clock"
    CALLING = "store that a person is asked"
    ASKING = "ask a person"
    ANSWERING = "store the answer"
    STARTING = "read the clock again"
    OPEN = "go"
    SHUT = "no-go"


class Happens(StrEnum):
    """What can come of it."""

    CLEAN = "as it should be"
    FOUND = "something is not as it should be"
    SOAKED = "stored, and the soak time has passed"
    ELAPSED = "time has passed"
    STORED = "stored"
    GO = "go"
    NO_GO = "no-go"
    FITS = "it fits into the window"
    LATE = "it does not fit into the window any more"


POINTS: Mapping[tuple[Point, Happens], Point] = {
    (Point.LOOKING, Happens.CLEAN): Point.NOTING,
    (Point.LOOKING, Happens.FOUND): Point.TELLING,
    (Point.NOTING, Happens.STORED): Point.SOAKING,
    (Point.NOTING, Happens.SOAKED): Point.TIMING,
    (Point.TELLING, Happens.STORED): Point.DOUBTING,
    (Point.DOUBTING, Happens.GO): Point.ACCEPTING,
    (Point.DOUBTING, Happens.NO_GO): Point.ACCEPTING,
    (Point.ACCEPTING, Happens.GO): Point.LOOKING,
    (Point.ACCEPTING, Happens.NO_GO): Point.SHUT,
    (Point.SOAKING, Happens.ELAPSED): Point.LOOKING,
    (Point.TIMING, Happens.FITS): Point.CALLING,
    (Point.TIMING, Happens.LATE): Point.SHUT,
    (Point.CALLING, Happens.STORED): Point.ASKING,
    (Point.ASKING, Happens.GO): Point.ANSWERING,
    (Point.ASKING, Happens.NO_GO): Point.ANSWERING,
    (Point.ANSWERING, Happens.GO): Point.STARTING,
    (Point.ANSWERING, Happens.NO_GO): Point.SHUT,
    (Point.STARTING, Happens.FITS): Point.OPEN,
    (Point.STARTING, Happens.LATE): Point.SHUT,
}
"""The whole of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is known at a go/no-go point, for the words of its questions.

    ``findings``: what the last look found, in words. ``soaked_s``: for how long it was watched.
    ``accepted``: what was found earlier, and accepted by a person. ``at``: when the clock was
    last read. ``limits``: what the window leaves, if there is one.
    """

    phase: int
    findings: tuple[str, ...] = ()
    accepted: tuple[str, ...] = ()
    soaked_s: float = 0.0
    at: datetime | None = None
    limits: Limits | None = None


Words = Callable[[Facts], tuple[str, ...]]
"""The words of a question, from what is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """One go/no-go point.

    ``looks``: whether everything is read and audited. ``soak_s``: how long it is to soak.
    ``limits``: what the window leaves for the phase. ``answered``: a person said go in an earlier
    sitting, and only the clock is left to ask. ``accepted`` are findings that a person accepted.
    """

    phase: int
    words: Words
    looks: bool = True
    soak_s: float = 0.0
    limits: Limits | None = None
    answered: bool = False
    point: Point = Point.LOOKING
    soaked_s: float = 0.0
    findings: tuple[str, ...] = ()
    accepted: frozenset[str] = frozenset()
    at: datetime | None = None
    go: bool = False
    by: str = ""
    why: str = field(default="")

    @property
    def over(self) -> bool:
        """Whether it is open or shut."""
        return self.point in (Point.OPEN, Point.SHUT)

    @property
    def facts(self) -> Facts:
        """What is known here."""
        return Facts(
            phase=self.phase,
            findings=self.findings,
            accepted=tuple(sorted(self.accepted)),
            soaked_s=self.soaked_s,
            at=self.at,
            limits=self.limits,
        )

    def operation(self) -> Operation:
        """What is to be done now.

        Raises:
            OutOfTurn: nothing: the point is open or shut.
        """
        match self.point:
            case Point.LOOKING:
                return Look(self.phase)
            case Point.SOAKING:
                return Rest(self.phase, min(WATCH_S, self.soak_s - self.soaked_s))
            case Point.TIMING | Point.STARTING:
                return ReadClock(self.phase)
            case Point.DOUBTING:
                return Ask(doubt(self.phase), self.words(self.facts))
            case Point.ASKING:
                return Ask(question(self.phase), self.words(self.facts))
            case _:
                return Store(self._events())

    def _events(self) -> tuple[Event, ...]:
        checked = Checked(self.phase, self.findings, self.soaked_s)
        match self.point:
            case Point.TELLING:
                return (checked, Asked(doubt(self.phase)))
            case Point.CALLING:
                return (Asked(question(self.phase)),)
            case Point.NOTING:
                return (checked,)
            case Point.ACCEPTING:
                return (Answered(doubt(self.phase), self.go, self.by),)
            case Point.ANSWERING:
                return (Answered(question(self.phase), self.go, self.by),)
            case _:
                raise OutOfTurn(f"the go/no-go point before phase {self.phase + 1} is over")

    def told(self, outcome: Outcome) -> "Gate":
        """The point after ``outcome`` of its operation.

        Raises:
            OutOfTurn: the operation can't come to that.
        """
        operation = self.operation()
        if not isinstance(outcome, ANSWERS[type(operation)]):
            raise OutOfTurn(f"{type(operation).__name__} was answered {outcome}")
        noted = _noted(self, outcome)
        happens = _happens(noted, outcome)
        return _skipped(_moved(noted, POINTS[self.point, happens], happens))

    def begun(self) -> "Gate":
        """The point at its beginning, with what there is nothing to do for left out."""
        start = Point.STARTING if self.phase == 0 or self.answered else Point.LOOKING
        return _skipped(replace(self, point=start))


def _noted(gate: Gate, outcome: Outcome) -> Gate:
    match gate.point, outcome:
        case Point.LOOKING, Looked(findings=findings):
            fresh = tuple(one for one in findings if one not in gate.accepted)
            return replace(gate, findings=fresh)
        case Point.SOAKING, Elapsed():
            return replace(gate, soaked_s=min(gate.soak_s, gate.soaked_s + WATCH_S))
        case ((Point.TIMING | Point.STARTING), Moment(at=at)):
            return replace(gate, at=datetime.fromisoformat(at))
        case ((Point.DOUBTING | Point.ASKING), Reply(go=go, by=by)):
            return replace(gate, go=go, by=by)
        case _:
            return gate


def _happens(gate: Gate, outcome: Outcome) -> Happens:
    match outcome:
        case Looked():
            return Happens.FOUND if gate.findings else Happens.CLEAN
        case Moment():
            return Happens.FITS if _fits(gate) else Happens.LATE
        case Stored() if gate.point is Point.NOTING and gate.soaked_s >= gate.soak_s:
            return Happens.SOAKED
        case Stored() if gate.point not in (Point.ACCEPTING, Point.ANSWERING):
            return Happens.STORED
        case Elapsed():
            return Happens.ELAPSED
        case _:
            return Happens.GO if gate.go else Happens.NO_GO


def _fits(gate: Gate) -> bool:
    return gate.limits is None or gate.at is None or gate.limits.allow(gate.at)


def _moved(gate: Gate, point: Point, happens: Happens) -> Gate:
    why = gate.why
    if point is Point.SHUT:
        number = gate.phase + 1
        why = {
            Point.ACCEPTING: f"the audit before phase {number} was not clean: "
            + "; ".join(gate.findings),
            Point.ANSWERING: f"no-go before phase {number}",
        }.get(gate.point, f"phase {number} is not started: its end and the way back would "
              "pass the end of the window")  # fmt: skip
    accepted = gate.accepted
    if gate.point is Point.ACCEPTING and happens is Happens.GO:
        accepted |= set(gate.findings)
    return replace(gate, point=point, why=why, accepted=accepted)


def _skipped(gate: Gate) -> Gate:
    """Pass over what there is nothing to do for."""
    if gate.point is Point.LOOKING and not gate.looks:
        return _skipped(replace(gate, point=Point.TIMING))
    if gate.point is Point.TIMING and gate.limits is None:
        return replace(gate, point=Point.CALLING)
    if gate.point is Point.STARTING and gate.limits is None:
        return replace(gate, point=Point.OPEN)
    return gate


def question(phase: int) -> str:
    """The name of the go/no-go question before ``phase``."""
    return f"go:{phase}"


def doubt(phase: int) -> str:
    """The name of the question about what was found before ``phase``."""
    return f"not-clean:{phase}"


def table_text() -> str:
    """The table as Markdown, for the documentation."""
    lines = ["| being done | what came of it | then |", "| --- | --- | --- |"]
    lines += [f"| {point} | {happens} | {then} |" for (point, happens), then in POINTS.items()]
    return "\n".join(lines) + "\n"
