"""A first save keeps what was found unsaved; what is not there any more is not called saved."""

from dataclasses import replace

import pytest

from orchestrator.facility.found import DestinationState, DeviceState
from orchestrator.facility.step import Sequence, StepKind
from orchestrator.running.events import Event
from orchestrator.running.operations import Accepted
from orchestrator.running.run import Run
from orchestrator.running.steps.kept import keeps, strayed
from tests.running.dialogue import Dialogue, store
from tests.running.made_up import AT, BY_ID, EXPECTS, source, state_of, step

FOUND = replace(
    state_of("north", sources={"one": source(311), "two": source(321, enabled=True)}),
    destinations={"in": DestinationState(hears=411)},
    unsaved=True,
)
SAVED = replace(FOUND, unsaved=False)
GONE_BACK = replace(SAVED, sources={**FOUND.sources, "one": source(411)})
SAVE = step("north.keep", StepKind.SAVE, None, None)
OFF = replace(BY_ID["south.off"], after=("north.keep",), order=9)
READ, WRITE = (f"{what} north.keep at {AT['north']}" for what in ("read", "write"))


def talk(*events: Event) -> Dialogue:
    """A run that saves north first, and then switches south off."""
    sequence = Sequence(steps=(SAVE, OFF))
    return Dialogue(Run(sequence, EXPECTS, events, found={"north": FOUND}))


def test_all_is_there_and_saved() -> None:
    """Then what waits for it goes on."""
    talk().play(
        store("intended north.keep"),
        (READ, FOUND),
        (WRITE, Accepted()),
        (READ, SAVED),
        store("sent north.keep known + proved north.keep"),
        ("store intended south.off", None),
    )


def test_what_was_lost_before_it_is_not_saved() -> None:
    """A power cycle since the survey: the device holds a number that others count on as free."""
    talking = talk()
    talking.play(
        store("intended north.keep"),
        (READ, GONE_BACK),
        store("failed north.keep other_hand"),
        store("paused"),
    )
    said = "north/one is 411, not 311, which is not as it was found"
    assert said in (talking.run.paused or "")


def test_what_was_lost_meanwhile_is_not_called_saved() -> None:
    """The device says, truly, that nothing is unsaved; nor does a resume believe it."""
    talking = talk()
    talking.play(
        store("intended north.keep"),
        (READ, FOUND),
        (WRITE, Accepted()),
        (READ, GONE_BACK),
        store("sent north.keep known + failed north.keep other_hand unsure"),
        store("paused"),
    )
    again = Dialogue(
        Run(Sequence(steps=(SAVE, OFF)), EXPECTS, talking.events, found={"north": FOUND})
    )
    again.play(
        store("resumed"),
        store("intended north.keep"),
        (READ, GONE_BACK),
        store("failed north.keep other_hand unsure"),
        store("paused"),
    )


def test_only_a_first_save_is_held_against_what_was_found() -> None:
    """One that comes after steps of its own device keeps what the run has set."""
    steps = {one.id: one for one in (SAVE, BY_ID["north.off"], OFF)}
    found = {"north": FOUND}
    assert keeps(SAVE, steps, found) is FOUND
    assert keeps(replace(SAVE, after=("south.off",)), steps, found) is FOUND
    assert keeps(replace(SAVE, after=("north.off",)), steps, found) is None
    assert keeps(OFF, steps, {"south": FOUND}) is None
    assert keeps(SAVE, steps, {}) is None


@pytest.mark.parametrize(
    ("now", "said"),
    [
        (FOUND, []),
        (SAVED, []),
        (GONE_BACK, ["north/one is 411, not 311"]),
        (replace(FOUND, sources={"one": source(311), "two": source(321)}), ["north/two is off"]),
        (replace(FOUND, sources={"one": source(311)}), ["north/two is not there"]),
        (
            replace(FOUND, destinations={"in": DestinationState(hears=311)}),
            ["north/in is pointed at 311"],
        ),
        (
            replace(FOUND, destinations={"in": DestinationState(hears=None)}),
            ["north/in is pointed at nobody"],
        ),
        (replace(FOUND, destinations={}), ["north/in is not there"]),
        (replace(FOUND, settings={"gain": 3}), []),
    ],
)
def test_what_strayed_in_words(now: DeviceState, said: list[str]) -> None:
    """Numbers, switches and pointers count; a setting puts nobody off the air."""
    assert list(strayed("north", FOUND, now)) == said
