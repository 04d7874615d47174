"""Doors of devices whose secret no single device description changes."""

import asyncio
from collections.abc import Coroutine
from dataclasses import dataclass, field
from typing import Any

import pytest

from orchestrator.adapters.doors import SharedDoor, WholeDoor
from orchestrator.errors import Rejected, SignInRefused, Unreachable
from orchestrator.facility.found import Identity
from orchestrator.facility.secret import Secret
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import DeviceAdapter
from tests.adapters.makes import PARTY
from tests.adapters.ways_made import Answering

OLD, NEW = Secret("u", "old-word"), Secret("u", "new-word")
AT = (PARTY.device, PARTY.address, "asking who it is")


class Picky(Answering):
    """It takes one word, or is away."""

    word = ""
    given = ""
    away = False

    async def identify(self) -> Identity:
        """Only to whoever has the word."""
        if self.away:
            raise Unreachable(*AT)
        if self.given != self.word:
            raise SignInRefused(*AT)
        return await super().identify()


@dataclass
class Unit:
    """A device: its word, and the adapters that were opened to it."""

    word: str = "old-word"
    away: bool = False
    opened: list[Picky] = field(default_factory=list)

    def open(self, secret: Secret | None) -> DeviceAdapter:
        """An adapter that is signed in with a secret."""
        adapter = Picky(Traits(can=frozenset()))
        adapter.word, adapter.away = self.word, self.away
        adapter.given = "" if secret is None else secret.reveal()
        self.opened.append(adapter)
        return adapter

    async def change(self, now: Secret, new: Secret) -> None:
        """Take another word."""
        assert now.reveal() == self.word
        self.word = new.reveal()


def run(act: Coroutine[Any, Any, Any]) -> Any:
    """Do it."""
    return asyncio.run(act)


def test_a_sign_in_is_tried_by_asking_who_it_is() -> None:
    """With an adapter of its own each time, let go of whatever comes of it."""
    unit = Unit()
    door = WholeDoor(PARTY, unit.open)
    assert [run(door.takes(each)) for each in (OLD, NEW, None)] == [True, False, False]
    assert [each.asked[-1] for each in unit.opened] == ["close"] * 3
    unit.away = True
    with pytest.raises(Unreachable):
        run(door.takes(OLD))
    assert unit.opened[-1].asked == ["close"]
    door.check(NEW)
    run(door.close())


def test_what_nothing_here_can_change_is_done_by_hand() -> None:
    """The door says so; a change is refused with what to do, and nothing is sent."""
    unit = Unit()
    door = WholeDoor(PARTY, unit.open)
    assert door.by_hand
    with pytest.raises(Rejected, match="at the device itself"):
        run(door.change(OLD, NEW))
    assert unit.opened == []


def test_what_can_be_changed() -> None:
    """By what was given for it; the device is then as it is by the new one."""
    unit = Unit()
    door = WholeDoor(PARTY, unit.open, unit.change)
    assert not door.by_hand
    run(door.change(OLD, NEW))
    assert run(door.takes(NEW))
    assert run(door.inside(NEW).identify()).serial == "TM-118"


def test_one_way_for_all() -> None:
    """It tries and changes; what is inside is the whole device."""
    unit, whole = Unit(), Unit("new-word")
    door = SharedDoor(WholeDoor(PARTY, unit.open, unit.change), whole.open)
    door.check(NEW)
    assert not door.by_hand
    assert run(door.takes(OLD))
    run(door.change(OLD, NEW))
    assert (unit.word, whole.opened) == ("new-word", [])
    assert run(door.inside(NEW).identify()).serial == "TM-118"
    assert len(whole.opened) == 1
    run(door.close())
