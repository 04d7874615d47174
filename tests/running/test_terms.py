"""What a failure holds back, by the terms of a run."""

import pytest

from orchestrator.facility.step import Sequence, StepKind
from orchestrator.running.events import Failed, Failure, Intended
from orchestrator.running.operations import Refused
from orchestrator.running.run import Run
from orchestrator.running.terms import AfterFailure, Terms, held
from tests.running.dialogue import Dialogue, store
from tests.running.made_up import AT, EXPECTS, source, state_of, step

ROOMS = {"north": "studio", "south": "studio", "node": "rack"}


@pytest.mark.parametrize(
    ("policy", "devices"),
    [
        (AfterFailure.HOLD_DEVICE, set()),
        (AfterFailure.HOLD_ROOM, {"north", "south"}),
        (AfterFailure.TAKE_ROOM_BACK, {"north", "south"}),
        (AfterFailure.HOLD_ALL, {"north", "south", "node"}),
    ],
)
def test_what_is_held(policy: AfterFailure, devices: set[str]) -> None:
    """Nothing more, the room, or everything; and nothing at all where nothing failed."""
    assert held(policy, ["north"], ROOMS) == devices
    assert held(policy, [], ROOMS) == set()


def test_two_failures_hold_two_rooms() -> None:
    """Each room in which something failed."""
    assert held(AfterFailure.HOLD_ROOM, ["north", "node"], ROOMS) == set(ROOMS)


STEPS = Sequence(
    steps=(
        step("north.off", StepKind.DISABLE, True, False, order=0),
        step("north.clock", StepKind.SET, 0, 7, setting="ptp_domain", order=1),
        step("south.off", StepKind.DISABLE, True, False, order=2),
        step("node.off", StepKind.DISABLE, True, False, order=3),
    )
)
ON = {"one": source(311, enabled=True)}


@pytest.mark.parametrize(
    ("policy", "goes_on", "said"),
    [
        (AfterFailure.HOLD_DEVICE, {"north.clock", "south.off", "node.off"}, ""),
        (AfterFailure.HOLD_ROOM, {"node.off"}, "nothing more was begun in studio"),
        (AfterFailure.TAKE_ROOM_BACK, {"node.off"}, "nothing more was begun in studio"),
        (AfterFailure.HOLD_ALL, set(), "nothing more was begun anywhere"),
    ],
)
def test_what_is_begun_after_a_failure(policy: AfterFailure, goes_on: set[str], said: str) -> None:
    """One device at a time is spoken to: after the first step failed, only these are begun."""
    run = Run(STEPS, EXPECTS, width=1, terms=Terms(after_failure=policy), rooms=ROOMS)
    talking = Dialogue(run)
    talking.play(
        store("intended north.off"),
        (f"read north.off at {AT['north']}", state_of("north", sources=ON)),
        (f"write north.off at {AT['north']}", Refused(Failure.REJECTED, "no")),
        store("failed north.off rejected"),
    )
    begun = set()
    while talking.open:
        (asks,) = talking.open.keys() - talking.along()
        if asks == "store paused":
            talking.play(store("paused"))
            break
        name = asks.split()[2] if asks.startswith("store intended") else ""
        begun.add(name)
        device = name.partition(".")[0]
        off = {"one": source(311, enabled=False)}
        talking.play(
            store(f"intended {name}"),
            (
                f"read {name} at {AT[device]}",
                state_of(device, sources=off, settings={"ptp_domain": 7}),
            ),
            store(f"proved {name} already"),
        )
    assert begun == goes_on
    assert run.paused is not None
    assert said in run.paused


def test_what_is_in_hand_is_finished() -> None:
    """A step that was begun before the failure goes on to its end, whatever the terms."""
    run = Run(STEPS, EXPECTS, terms=Terms(after_failure=AfterFailure.HOLD_ALL), rooms=ROOMS)
    talking = Dialogue(run)
    talking.play(
        store("intended north.off"),
        store("intended south.off"),
        (f"read north.off at {AT['north']}", state_of("north", sources=ON)),
        (f"write north.off at {AT['north']}", Refused(Failure.REJECTED, "no")),
        store("failed north.off rejected"),
        (f"read south.off at {AT['south']}", state_of("south", sources=ON)),
    )
    assert f"write south.off at {AT['south']}" in talking.open


def test_a_resume_lets_the_room_go_on() -> None:
    """What failed is open again at a resume, and so is its room."""
    stored = (Intended("north.off"), Failed("north.off", Failure.REJECTED, "no"))
    terms = Terms(after_failure=AfterFailure.HOLD_ALL)
    talking = Dialogue(Run(STEPS, EXPECTS, stored, terms=terms, rooms=ROOMS))
    talking.play(store("resumed"))
    talking.is_open(
        "store intended north.off", "store intended south.off", "store intended node.off"
    )


def test_a_device_without_a_room_is_a_room_of_its_own() -> None:
    """Where nobody says which rooms there are, a failure holds its own device."""
    terms = Terms(after_failure=AfterFailure.HOLD_ROOM)
    talking = Dialogue(Run(STEPS, EXPECTS, width=1, terms=terms))
    talking.play(
        store("intended north.off"),
        (f"read north.off at {AT['north']}", state_of("north", sources=ON)),
        (f"write north.off at {AT['north']}", Refused(Failure.REJECTED, "no")),
        store("failed north.off rejected"),
    )
    talking.is_open("store intended south.off")
