"""The questions of safety: put to a person before the first write and at each go/no-go point.

No ``--yes`` answers them. Each has a name, by which it can be accepted beforehand with a reason.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime

from orchestrator.facility.step import Sequence as Steps
from orchestrator.facility.step import StepKind
from orchestrator.reports.cautions import ALERT, HEARING, ON_AIR
from orchestrator.reports.clock import clock_words, limit_words, window_words
from orchestrator.reports.layout import seconds
from orchestrator.running.gate import Facts, Words
from orchestrator.running.window import Window

BEFORE_THE_FIRST_WRITE: Mapping[str, tuple[str, ...]] = {
    "who-is-on-air": (ON_AIR.about, ON_AIR.text, "Has everybody concerned been asked?"),
    "monitors-down": (HEARING.about, HEARING.text, "Are headphones off and monitors down?"),
    "alert-chain": (
        ALERT.about,
        ALERT.text,
        "Is nothing of these chains touched, or is the written approval at hand?",
    ),
}

BEFORE_SOURCES_RETURN = {
    name: text for name, text in BEFORE_THE_FIRST_WRITE.items() if name != "alert-chain"
}
"""Asked anew before a run goes on."""

OUTSIDE = "outside-window"


def before_going_on(window: Window | None, at: datetime) -> Mapping[str, tuple[str, ...]]:
    """What is asked where a run is to go on at a time that lies outside of its window."""
    if window is None:
        return {}
    opens, closes = (datetime.fromisoformat(text) for text in (window.opens, window.closes))
    if opens <= at < closes:
        return {}
    now = clock_words(at, window)
    return {
        OUTSIDE: (
            f"The run's window is {window_words(window)}. It is {now} now: outside of it.",
            "Going on, like undoing, writes to devices. Whoever agreed to the window decides.",
            "Has it been agreed to go on outside the window?",
        )
    }


LONGEST_SHOWN = 12
"""How many findings are shown at a go/no-go point. Our own choice."""


def go_questions(
    sequence: Steps, window: Window | None = None, lengths: Sequence[float] = ()
) -> Words:
    """The words of the questions at the go/no-go points of ``sequence``.

    ``lengths`` are the seconds that its phases take at the most, where there is a ``window``.
    """

    def words(facts: Facts) -> tuple[str, ...]:
        if facts.findings:
            return _doubt(facts)
        return (
            *_phase(sequence, facts),
            *_silent(sequence, facts.phase),
            *_time(facts, window, lengths),
            "Go on with it?",
        )

    return words


def _doubt(facts: Facts) -> tuple[str, ...]:
    shown = facts.findings[:LONGEST_SHOWN]
    more = len(facts.findings) - len(shown)
    way_out = "A no pauses the run: put it right, then resume; or undo."
    return (
        f"Before phase {facts.phase + 1}: not all is as it should be.",
        *(f"- {finding}" for finding in shown),
        *((f"and {more} more",) if more else ()),
        way_out,
        "Go on with that as it is?",
    )


def _phase(sequence: Steps, facts: Facts) -> tuple[str, ...]:
    number = facts.phase
    steps = [step for step in sequence.steps if step.phase == number]
    rooms = " and ".join(sequence.phases[number].rooms)
    off = sum(step.kind is StepKind.DISABLE for step in steps)
    watched = f", for {seconds(facts.soaked_s)}" if facts.soaked_s else ""
    clean = "all is as it should be"
    if facts.accepted:
        clean = f"accepted as it is: {'; '.join(facts.accepted)}"
    return (
        f"Go or no-go: phase {number + 1} of {len(sequence.phases)}, {rooms}",
        f"All before it is done and confirmed. Every device was read anew{watched}: {clean}.",
        f"It has {len(steps)} steps. Sources that it switches off for a time: {off}.",
    )


def _silent(sequence: Steps, number: int) -> tuple[str, ...]:
    """What a split leaves silent over this point."""
    accepted = sequence.phases[number].accepts
    return (f"Over this point, as accepted: {'; '.join(accepted)}.",) if accepted else ()


def _time(facts: Facts, window: Window | None, lengths: Sequence[float]) -> tuple[str, ...]:
    if window is None or facts.limits is None or facts.at is None:
        return ("This is the last moment to turn back before it. No window was given.",)
    now, last = (clock_words(at, window) for at in (facts.at, facts.limits.turn_back))
    return (
        f"It is {now}. To turn back from here, begin by {last}.",
        limit_words(window, facts.limits, lengths[facts.phase], facts.phase),
    )
