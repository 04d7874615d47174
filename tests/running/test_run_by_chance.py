"""The run under every sort of trouble, two thousand times, and mutants that must be caught."""

from dataclasses import replace
from random import Random

import pytest

from orchestrator.facility.step import Sequence, Step
from orchestrator.running import fold as folding
from orchestrator.running.events import Event, Sent
from orchestrator.running.fold import Standing, fold
from orchestrator.running.run import Run
from orchestrator.running.startable import Startable
from orchestrator.running.steps import hand, life, reading
from orchestrator.running.steps.hand import Hand
from orchestrator.running.steps.life import LIFE, Goes, Happening, Stage
from tests.running.chance_driver import ChanceDriver
from tests.running.made_up import SEQUENCE
from tests.running.seldom import SELDOM

SEEDS, CHUNK, ATTEMPTS = 2000, 100, 12


def trouble(seed: int) -> list[str]:
    """Drive one seed to its end, resuming as often as it stops; say what was wrong."""
    driver = ChanceDriver(seed)
    world = driver.world
    for attempt in range(ATTEMPTS):
        if attempt == ATTEMPTS // 2:
            world.calm()
            driver.stops = 0.0
        ended = driver.go()
        if ended.state != fold(world.ledger) and ended.paused is not None:
            world.broken.append("the run's state is not the fold of its ledger")
        if ended.finished:
            break
        if ended.paused == "":
            world.broken.append("paused without a reason")
    else:
        if not world.drifted:
            world.broken.append(f"did not end: {ended.paused}")
    if ended.finished and not world.drifted and not world.done():
        world.broken.append("called finished, but the devices are not as wanted")
    return world.broken


@pytest.mark.parametrize("first", range(0, SEEDS, CHUNK))
def test_no_trouble_breaks_a_rule(first: int) -> None:
    """Lost requests and answers, late effects, other hands, stops anywhere: the rules hold.

    And once the trouble is over, a resumed run comes to its end unless another hand was at work.
    """
    found = {seed: broken for seed in range(first, first + CHUNK) if (broken := trouble(seed))}
    assert not found


def _with_soft_orders(seed: int) -> Sequence:
    """The made-up change with some steps behind some that stand before them in one order."""
    chance = Random(seed)
    line: list[Step] = []
    while len(line) < len(SEQUENCE.steps):
        done = {step.id for step in line}
        ready = [s for s in SEQUENCE.steps if s.id not in done and done.issuperset(s.after)]
        line.append(chance.choice([s for s in ready if s.phase == min(r.phase for r in ready)]))
    behind = {
        step.id: tuple(
            other.id
            for other in line[:place]
            if other.phase == step.phase and chance.random() < 0.2
        )
        for place, step in enumerate(line)
    }
    steps = tuple(replace(step, behind=behind[step.id]) for step in SEQUENCE.steps)
    return replace(SEQUENCE, steps=steps)


@pytest.mark.parametrize("first", range(0, 400, CHUNK))
def test_soft_orders_never_stop_a_run(first: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever fails, whatever is begun and left: in the end the run comes to its end."""
    found = {}
    for seed in range(first, first + CHUNK):
        monkeypatch.setattr("tests.running.chance_driver.SEQUENCE", _with_soft_orders(seed))
        if broken := trouble(seed):
            found[seed] = broken
    assert not found


def caught(said: str = "", seeds: int = 400) -> bool:
    """Whether the referee says ``said`` of one of the first seeds."""
    return any(said in broken for seed in range(seeds) for broken in trouble(seed))


def rerouted(
    monkeypatch: pytest.MonkeyPatch, stage: Stage, happening: Happening, to: Stage
) -> None:
    """Change one row of the table."""
    monkeypatch.setattr(life, "LIFE", {**LIFE, (stage, happening): Goes(to)})


ROWS = [
    # what is broken, and what the referee is to say of it
    (Stage.LOOKING, Happening.OTHER, Stage.SENDING, "without a matching read"),
    (Stage.LOOKING, Happening.MOVABLE, Stage.SENDING, "an address that answers"),
    (Stage.PROBING, Happening.OCCUPIED, Stage.SENDING, "an address that answers"),
    (Stage.INTENDING, Happening.INTENDED, Stage.SENDING, "without a matching read"),
    (Stage.BUSY_WAIT, Happening.ELAPSED, Stage.SENDING, "without a matching read"),
    (Stage.SENDING, Happening.ACCEPTED, Stage.PROVING, "called proved, but is not"),
    (Stage.SENDING, Happening.UNSURE, Stage.PROVING, "in flight"),
    (Stage.CHECKING, Happening.AS_FOUND, Stage.PROVING, "called proved, but is not"),
    (Stage.SEEKING, Happening.AS_FOUND, Stage.SENDING, "in flight"),
    (Stage.SEEKING, Happening.NOBODY, Stage.SENDING, "without a matching read"),
    (Stage.INTENDING, Happening.INTENDED_IN_DOUBT, Stage.LOOKING, "in flight"),
]


@pytest.mark.parametrize(("stage", "happening", "to", "said"), ROWS)
def test_a_wrong_row_is_caught(
    monkeypatch: pytest.MonkeyPatch, stage: Stage, happening: Happening, to: Stage, said: str
) -> None:
    """Each of these changes to the table breaks a rule that the referee sees."""
    rerouted(monkeypatch, stage, happening, to)
    assert caught(said)


def test_order_ignored_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """Steps that start before what they come after."""

    def always(self: Startable, step: Step, *_: object) -> bool:
        return step.id not in self.held and self._state.standing(step.id) is not Standing.FAILED

    monkeypatch.setattr(Startable, "_open", always)
    monkeypatch.setattr(Startable, "lacking", lambda *_: [])  # the last look before a write
    assert caught("was proved")


def test_a_failure_taken_as_a_proof_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """What depends on a failed step starts all the same."""

    def proved_or_failed(self: Startable, step: str) -> bool:
        return self._state.standing(step) in (Standing.PROVED, Standing.FAILED)

    monkeypatch.setattr(Startable, "proved", proved_or_failed)
    assert caught()


def test_a_phase_without_its_go_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second phase starts with the first."""
    monkeypatch.setattr(Startable, "phase", lambda _: 0)
    assert caught()


def test_an_intent_that_is_not_stored_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """The write comes without its intent in the ledger."""
    whole = Hand._events

    def without_intent(self: Hand) -> tuple[Event, ...]:
        told = (Sent(self.step.id, known=False),)
        return told if self.stage is Stage.INTENDING else whole(self)

    monkeypatch.setattr(Hand, "_events", without_intent)
    assert caught("without a stored intent")


def test_a_doubt_forgotten_at_resume_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """A step that may have landed is treated like one that never started."""
    whole = Run._taken
    monkeypatch.setattr(Run, "_taken", lambda run, *given: replace(whole(run, *given), doubt=False))
    assert caught("in flight")


def test_no_patience_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading the old value once is taken as proof that the request is lost."""
    monkeypatch.setattr(reading, "_late", lambda _: True)
    assert caught()


def test_doubt_that_does_not_come_first_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """Doubt about one step no longer comes before the device's other steps."""
    monkeypatch.setattr(Startable, "_doubtful", lambda _: {})
    assert caught("in flight", seeds=1500)


def test_a_doubt_called_a_sure_failure_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """A failure that forgets that something was sent."""
    whole = hand._failed
    monkeypatch.setattr(
        hand, "_failed", lambda *given: replace(whole(*given), unsure=False)
    )  # fmt: skip
    assert caught()


def test_an_effect_before_the_ledger_has_it_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """A proof that counts as soon as it is handed out, stored or not."""
    whole = Run.ready

    def early(run: Run) -> object:
        operations = whole(run)
        for operation in operations:
            run._take(operation)
        return operations

    monkeypatch.setattr(Run, "ready", early)
    assert caught("was proved")


def test_the_fold_forgets_nothing_that_may_have_landed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fold that reopens every failure as if nothing had been sent is caught."""
    monkeypatch.setattr(folding, "_reopened", lambda _: Standing.OPEN)
    assert caught(seeds=1500)


def test_every_row_of_the_table_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    """No row is there for nothing: the troubles of some seeds go through all but the seldom ones.

    Those have a test each beside the reading of outcomes.
    """
    seen: set[tuple[Stage, Happening]] = set()
    whole = life.goes

    def noted(stage: Stage, happening: Happening) -> Goes:
        seen.add((stage, happening))
        return whole(stage, happening)

    monkeypatch.setattr(hand, "goes", noted)
    for seed in range(SEEDS // 4):
        trouble(seed)
    # Tried in test_together.
    together = {(Stage.SENDING, Happening.ALONE), (Stage.SENDING, Happening.UNDERMINED)}
    unseen = set(LIFE) - seen - {(case.stage, case.happening) for case in SELDOM} - together
    assert [f"{stage} | {happening}" for stage, happening in unseen] == []
