"""The go/no-go point: its table, its questions, soak time, and the clock."""

import re
from dataclasses import replace

import pytest

from orchestrator.facility.step import Sequence
from orchestrator.running.events import Checked, Event, Intended, Proved, Resumed
from orchestrator.running.gate import POINTS, Facts, Gate, Happens, Point, table_text
from orchestrator.running.operations import Elapsed, Looked, Moment, Reply, Stored
from orchestrator.running.run import Run
from orchestrator.running.steps.life import OutOfTurn
from orchestrator.running.steps.patience import Patience
from orchestrator.running.terms import Terms
from orchestrator.running.window import Window
from tests.running.dialogue import Dialogue, Line, store
from tests.running.made_up import AT, BY_ID, EXPECTS

SEQUENCE = Sequence(steps=(BY_ID["north.off"], replace(BY_ID["south.off"], phase=1)))
DONE = (Intended("north.off"), Proved("north.off"), Resumed())
WINDOW = Window(opens="2026-03-01T02:00:00+00:00", closes="2026-03-01T04:00:00+00:00", zone="UTC")
LOOK: Line = ("look before phase 1", Looked())
START = store("intended south.off")[0]


def at(clock: str) -> Line:
    """The clock, read."""
    return ("read the clock", Moment(f"2026-03-01T{clock}:00+00:00"))


def point(*events: Event, soak_s: float = 0.0, window: Window | None = None) -> Dialogue:
    """A run that stands before its second phase."""
    return Dialogue(
        Run(
            SEQUENCE,
            EXPECTS,
            events or DONE,
            terms=Terms(soak_s=soak_s, window=window),
            patience={name: Patience(late_s=300.0, settle_s=0.0) for name in AT},
            audits=True,
        )
    )


def test_clean_then_go() -> None:
    """Everything is read, it is stored that it was clean, a person says go, the phase starts."""
    talking = point()
    talking.play(
        LOOK,
        store("checked 1"),
        store("asked go:1"),
        ("ask go:1", Reply(go=True, by="M. Okafor")),
        store("answered go:1 go"),
    )
    talking.is_open(START)


def test_a_go_does_not_answer_for_what_was_found() -> None:
    """A finding has a question of its own; a no to it pauses, and says what was found."""
    talking = point()
    talking.play(
        ("look before phase 1", Looked(("north/one is on, and should be off now",))),
        store("checked 1 + asked not-clean:1"),
        ("ask not-clean:1", Reply(go=False)),
        store("answered not-clean:1 no-go"),
        store("paused"),
    )
    assert talking.run.paused == (
        "the audit before phase 2 was not clean: north/one is on, and should be off now"
    )


def test_what_was_accepted_is_not_asked_again() -> None:
    """Only what is new; then the go is asked for as ever."""
    talking = point()
    talking.play(
        ("look before phase 1", Looked(("one",))),
        store("checked 1 + asked not-clean:1"),
        ("ask not-clean:1", Reply(go=True)),
        store("answered not-clean:1 go"),
        ("look before phase 1", Looked(("one",))),
        store("checked 1"),
        store("asked go:1"),
        ("ask go:1", None),
    )


def test_soak_time_is_watched_time() -> None:
    """Seventy seconds are waited for in parts, with a look after each of them."""
    talking = point(soak_s=70.0)
    talking.play(
        LOOK, store("checked 1"),
        ("rest 30", Elapsed()), LOOK, store("checked 1"),
        ("rest 30", Elapsed()), LOOK, store("checked 1"),
        ("rest 10", Elapsed()), LOOK, store("checked 1"),
        store("asked go:1"),
    )  # fmt: skip
    soaked = [event.soaked_s for event in talking.events if isinstance(event, Checked)]
    assert soaked == [0.0, 30.0, 60.0, 70.0]


def test_what_shows_while_it_soaks_is_asked_about() -> None:
    """The soak time ends with the first finding."""
    talking = point(soak_s=70.0)
    talking.play(
        LOOK, store("checked 1"), ("rest 30", Elapsed()),
        ("look before phase 1", Looked(("node does not answer",))),
        store("checked 1 + asked not-clean:1"),
    )  # fmt: skip


def test_a_pause_ends_the_soak_time() -> None:
    """Nobody has to wait for the rest of it, and nothing is asked."""
    talking = point(soak_s=600.0)
    talking.play(LOOK, store("checked 1"), ("rest 30", None))
    talking.run.pause("stopped by the operator")
    talking.tell("rest 30", Elapsed())
    talking.play(store("paused"))
    assert talking.run.paused == "stopped by the operator"


def test_it_fits_so_it_is_asked_and_starts() -> None:
    """One phase takes 300 s at the most: with 15 min to spare it may start by 03:30."""
    talking = point(window=WINDOW)
    talking.play(
        LOOK, store("checked 1"), at("03:29"), store("asked go:1"),
        ("ask go:1", Reply(go=True)), store("answered go:1 go"), at("03:30"),
    )  # fmt: skip
    talking.is_open(START)


def test_too_late_is_not_even_asked() -> None:
    """Its end and the way back of both phases would pass the window's end less its margin."""
    talking = point(window=WINDOW)
    talking.play(LOOK, store("checked 1"), at("03:31"), store("paused"))
    assert "phase 2 is not started" in str(talking.run.paused)


def test_a_person_who_takes_too_long_is_told() -> None:
    """The clock is read once more after the go."""
    talking = point(window=WINDOW)
    talking.play(
        LOOK, store("checked 1"), at("03:29"), store("asked go:1"),
        ("ask go:1", Reply(go=True)), store("answered go:1 go"), at("03:31"), store("paused"),
    )  # fmt: skip


def test_the_first_phase_asks_only_the_clock() -> None:
    """It has to fit, too: 10 min at the most and as long back, twice."""
    for clock, then in (("03:35", "store intended north.off"), ("03:36", "store paused")):
        run = Run(
            SEQUENCE, EXPECTS, terms=Terms(window=WINDOW),
            patience={name: Patience(late_s=300.0, settle_s=0.0) for name in AT}, audits=True,
        )  # fmt: skip
        talking = Dialogue(run)
        talking.play(at(clock))
        talking.is_open(then)


def test_a_phase_that_was_begun_is_finished_whatever_the_time() -> None:
    """Nothing is left half-way by a resume: the way out is forward."""
    begun = (*DONE, Intended("south.off"), Resumed())
    talking = point(*begun, window=WINDOW)
    talking.play(
        LOOK, store("checked 1"), store("asked go:1"), ("ask go:1", Reply(go=True)),
        store("answered go:1 go"),
    )  # fmt: skip
    talking.is_open(START)


def test_the_words_are_told_what_is_known() -> None:
    """Whoever words the question gets the phase, the findings, the time and the limits."""
    seen: list[Facts] = []

    def words(facts: Facts) -> tuple[str, ...]:
        seen.append(facts)
        return ("?",)

    gate = Gate(phase=1, words=words, findings=("one",), point=Point.DOUBTING)
    gate.operation()
    assert seen == [Facts(phase=1, findings=("one",))]


def test_what_nobody_asked_for_is_refused() -> None:
    """And the point stays as it was; so is asking a point that is over."""
    gate = Gate(phase=1, words=lambda _: ()).begun()
    with pytest.raises(OutOfTurn):
        gate.told(Stored())
    with pytest.raises(OutOfTurn):
        replace(gate, point=Point.OPEN).operation()


def test_every_row_leads_on() -> None:
    """Each point that is not over has a way on, and each can be come to."""
    asked = {point for point, _ in POINTS}
    assert asked == set(Point) - {Point.OPEN, Point.SHUT}
    assert set(POINTS.values()) == set(Point)
    assert {happens for _, happens in POINTS} == set(Happens)


def test_the_table_as_text() -> None:
    """One line a row."""
    assert len(re.findall(r"^\| ", table_text(), re.MULTILINE)) == len(POINTS) + 2
