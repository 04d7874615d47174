import asyncio
from dataclasses import replace
from typing import Any

import pytest

from orchestrator.adapters.rotating import NEW, OLD, SETTING, Rotating, Tried
from orchestrator.errors import OutcomeUnknown, Rejected, SignInRefused
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import Step, StepKind
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import DeviceAdapter, Part
from tests.adapters.makes import a_step
from tests.adapters.ways_made import Answering

BOTH = {OLD: Secret("u", "old-word"), NEW: Secret("u", "new-word")}
TRAITS = Traits(can=frozenset({StepKind.SET}))


class Door:
    """A door that takes one word, and remembers what it was asked."""

    def __init__(self, word: str) -> None:
        self.word = word
        self.tries: list[str] = []
        self.failure: Exception | None = None
        self.adapter = Answering(TRAITS)

    @property
    def by_hand(self) -> bool:
        """No."""
        return False

    def check(self, secret: Secret) -> None:
        """Any will do."""

    async def takes(self, secret: Secret | None) -> bool:
        """Whether it is the word."""
        word = "" if secret is None else secret.reveal()
        self.tries.append(word)
        return word == self.word

    async def change(self, now: Secret, new: Secret) -> None:
        """Change it, or fail."""
        if self.failure is not None:
            raise self.failure
        assert now.reveal() == self.word
        self.word = new.reveal()

    def inside(self, secret: Secret) -> DeviceAdapter:
        """The device."""
        assert secret.reveal() == self.word
        return self.adapter

    async def close(self) -> None:
        """Let go."""


def rotating(door: Door, secrets: dict[str, Secret] | None = None) -> Rotating:
    """The device behind a door."""
    return Rotating(door, secrets or BOTH, Tried(), TRAITS, device="unit", address="127.44.3.71")


def a_change(now: str = OLD, new: str = NEW) -> Step:
    """The step that changes the secret."""
    return replace(a_step(StepKind.SET, new, setting=SETTING), as_found=now)


def run(act: Any) -> Any:
    """Do it."""
    return asyncio.run(act)


def test_which_secret_it_takes_is_read_as_a_setting() -> None:
    """By its name, never by itself; other parts are read as ever."""
    device = rotating(Door("new-word"))
    state = run(device.read(frozenset({Part.SETTINGS})))
    assert state.settings[SETTING] == NEW
    assert SETTING not in run(device.read(frozenset({Part.SOURCES}))).settings
    assert "word" not in repr(state)


def test_what_it_took_last_is_tried_first() -> None:
    """So that a device that stays as it is sees no wrong try at all after the first."""
    door = Door("new-word")
    device = rotating(door)
    for _ in range(3):
        assert run(device.which()) == NEW
    assert door.tries == ["old-word", "new-word", "new-word", "new-word"]


def test_a_secret_that_was_refused_is_not_tried_again() -> None:
    """Two wrong tries in a row at most, one of each, however often it is asked."""
    door = Door("another")
    device = rotating(door)
    for _ in range(4):
        with pytest.raises(SignInRefused):
            run(device.read())
    assert door.tries == ["old-word", "new-word"]


def test_after_a_change_the_new_one_is_tried_first() -> None:
    """Also where no answer came: the old one only if that is refused."""
    door = Door("old-word")
    device = rotating(door)
    run(device.write(a_change()))
    assert run(device.which()) == NEW
    assert door.tries == ["new-word"]
    door = Door("old-word")
    door.failure = OutcomeUnknown("unit", "127.44.3.71", "changing its secret")
    device = rotating(door)
    with pytest.raises(OutcomeUnknown):
        run(device.write(a_change()))
    assert run(device.which()) == OLD
    assert run(device.which()) == OLD
    assert door.tries == ["new-word", "old-word", "old-word"]


def test_a_change_that_was_surely_not_done_is_not_expected() -> None:
    """What was taken before is tried first."""
    door = Door("old-word")
    door.failure = Rejected("unit", "127.44.3.71", "changing its secret", "too short", 422)
    device = rotating(door)
    with pytest.raises(Rejected):
        run(device.write(a_change()))
    assert run(device.which()) == OLD
    assert door.tries == ["old-word"]


def test_other_steps_go_through() -> None:
    """By the secret that it takes; who it is too."""
    door = Door("new-word")
    device = rotating(door)
    save = a_step(StepKind.SAVE, None)
    run(device.write(save))
    assert run(device.identify()).serial == "TM-118"
    assert door.adapter.asked == [save, "identity"]
    assert run(device.open_to_all()) is False
    run(device.close())
    assert door.adapter.asked[-1] == "close"


def test_a_secret_that_is_not_known_can_not_be_set() -> None:
    """Nothing is sent."""
    door = Door("old-word")
    with pytest.raises(Rejected, match="not known here"):
        run(rotating(door, {OLD: BOTH[OLD]}).write(a_change()))
    assert door.tries == []
