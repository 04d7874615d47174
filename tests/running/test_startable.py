"""What may start next on a device, while the proof of what it had in hand is being stored."""

from dataclasses import replace

import pytest

from orchestrator.facility.step import Sequence, Step, StepKind
from orchestrator.running.events import Failed, Failure, Intended, Proved
from orchestrator.running.fold import Folding, fold
from orchestrator.running.operations import Nobody
from orchestrator.running.run import Run
from orchestrator.running.startable import Startable
from orchestrator.running.terms import Terms
from tests.running.dialogue import Dialogue, store
from tests.running.made_up import AT, BY_ID, EXPECTS, source, state_of, step

OFF = replace(BY_ID["north.off"], order=0)
LABEL = step("north.label", StepKind.SET, "", "N", "north.off", source="one", order=5)
OTHER = replace(BY_ID["south.off"], order=3)
SILENT = state_of("north", sources={"one": source(311, enabled=False)})
READ = f"read north.off at {AT['north']}"


def begun(*steps: Step, width: int = 16) -> Dialogue:
    """A run that has north's first step in hand, and its intent stored."""
    talking = Dialogue(Run(Sequence(steps=steps, width=width), EXPECTS))
    talking.play(store("intended north.off"))
    return talking


def test_a_proof_and_the_next_intent_are_stored_as_one() -> None:
    """So the device waits for the disk once; nothing of the next is done before that."""
    talking = begun(OFF, LABEL)
    talking.play((READ, SILENT))
    talking.is_open("store proved north.off already + intended north.label")
    talking.play(
        store("proved north.off already + intended north.label"),
        (f"read north.label at {AT['north']}", None),
    )


def test_a_step_of_another_device_keeps_its_turn() -> None:
    """With room for one device only, the lowest place in the schedule comes first; at once."""
    talking = begun(OFF, LABEL, OTHER, width=1)
    talking.play((READ, SILENT))
    talking.is_open("store proved north.off already", "store intended south.off")
    talking.play(store("proved north.off already"), store("intended south.off"))
    talking.is_open(f"read south.off at {AT['south']}")


def test_what_waits_for_more_than_that_proof_is_not_begun() -> None:
    """South has to be silent first, and is not yet."""
    talking = begun(OFF, replace(LABEL, after=("north.off", "south.off")), OTHER)
    talking.play((READ, SILENT))
    talking.is_open("store proved north.off already", "store intended south.off")


@pytest.mark.parametrize("later", [{"phase": 1}, {"kind": StepKind.BY_HAND}])
def test_what_needs_a_persons_go_is_not_begun(later: dict[str, object]) -> None:
    """Neither the next phase, nor a step by hand."""
    talking = begun(OFF, replace(LABEL, **later))  # type: ignore[arg-type]
    talking.play((READ, SILENT))
    talking.is_open("store proved north.off already")


def test_a_run_that_is_to_stop_begins_nothing() -> None:
    """What is in hand is finished, and that is all."""
    talking = begun(OFF, LABEL)
    talking.run.pause("enough")
    talking.play((READ, SILENT), store("proved north.off already"), store("paused"))


def test_after_a_failure_it_is_judged_anew() -> None:
    """What a failure holds back is worked out when the proof is stored, not ahead of it."""
    talking = begun(OFF, LABEL, OTHER)
    talking.play(
        store("intended south.off"),
        (f"read south.off at {AT['south']}", Nobody()),
        store("failed south.off unreachable"),
        (READ, SILENT),
        store("proved north.off already"),
        ("store intended north.label", None),
    )


def test_what_goes_in_one_request_follows_together() -> None:
    """All of a batch; not what is in another one."""
    first, second = (replace(LABEL, id=f"north.{n}", order=n, batch=1) for n in (6, 7))
    alone = replace(LABEL, id="north.8", order=8, batch=2)
    state = Folding(fold([Intended(OFF.id)]))
    startable = Startable(Sequence(steps=(OFF, alone, second, first)), state, 16, Terms(), {})
    startable.take((OFF,))
    assert startable.after((OFF,)) == (first, second)


def test_what_may_have_landed_before_a_resume_is_not_passed_over() -> None:
    """It is settled first, whatever follows in the schedule."""
    doubtful = replace(LABEL, id="north.doubt", after=(), order=9)
    state = Folding(fold([Proved(OFF.id), Intended(doubtful.id), Intended(LABEL.id)]))
    startable = Startable(
        Sequence(steps=(OFF, LABEL, replace(LABEL, id="n.3", order=6), doubtful)),
        state,
        16,
        Terms(),
        {"north": "north"},
    )
    startable.take((LABEL,))
    assert startable.after((LABEL,)) == ()


def test_what_a_step_lacks() -> None:
    """Whatever it comes after that is not proved, or that a device went back on."""
    state = Folding(fold([Proved(OFF.id)]))
    startable = Startable(Sequence(steps=(OFF, LABEL)), state, 16, Terms(), {"north": "north"})
    assert startable.lacking(LABEL) == []
    startable.lost[OFF.id] = Failed(OFF.id, Failure.NOT_DONE, "gone back", unsure=True)
    assert startable.lacking(LABEL) == [OFF.id]
