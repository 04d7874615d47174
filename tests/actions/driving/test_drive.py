"""The loop over simulated devices."""

import asyncio
import gc
import sys
import threading
import time
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime

import pytest

from orchestrator.actions.driving.drive import (
    AT_ONCE_BY_OPERATOR,
    BY_OPERATOR,
    NEWS_S,
    TURN_S,
    drive,
    short_turns,
)
from orchestrator.actions.driving.interrupts import Interrupts
from orchestrator.errors import LedgerError, OutcomeUnknown, Unreachable
from orchestrator.facility.found import DestinationState, DeviceState, Identity
from orchestrator.facility.step import Sequence, StepKind
from orchestrator.running.events import (
    Event,
    Failed,
    Finished,
    Intended,
    Paused,
    Proved,
    Resumed,
    Sent,
)
from orchestrator.running.protocols import EVERYTHING, Part
from orchestrator.running.run import Run
from orchestrator.running.steps.patience import Patience
from tests.actions.acted import Clock, Ledger, Net, Person, Reporter, Silent
from tests.running.made_up import AT, BENCH, BY_ID, EXPECTS, NEW, SEQUENCE, source, state_of, step

QUICK = {name: Patience(late_s=1.0, settle_s=2.0) for name in AT}


def units() -> dict[str, DeviceState]:
    """The four devices as they are found."""
    hears = {"in": DestinationState(hears=411)}
    return {
        AT["north"]: state_of(
            "north", sources={"one": source(311, enabled=True)}, settings={"ptp_domain": 0}
        ),
        AT["south"]: state_of("south", sources={"one": source(411, enabled=True)}, unsaved=False),
        AT["node"]: state_of("node", destinations=hears),
        AT["fresh"]: state_of(
            "fresh",
            sources={"one": source(1, enabled=True)},
            settings={"ptp_domain": 0},
            address=BENCH,
        ),
    }


@dataclass
class Stage:
    """All that a drive needs."""

    net: Net = field(default_factory=lambda: Net(units()))
    ledger: Ledger = field(default_factory=Ledger)
    clock: Clock = field(default_factory=Clock)
    reporter: Reporter = field(default_factory=Reporter)
    person: Person = field(default_factory=Person)
    interrupts: Interrupts | None = None
    sequence: Sequence = SEQUENCE
    trouble: str | None = None

    async def drive(self) -> Run:
        """Drive over what the ledger holds."""
        run = Run(self.sequence, EXPECTS, self.ledger.events("r1"), patience=QUICK)
        await drive(
            run,
            "r1",
            open_adapter=self.net.open,
            probe=self.net.probe,
            ledger=self.ledger,
            clock=self.clock,
            reporter=self.reporter,
            person=self.person,
            interrupts=self.interrupts,
            trouble=lambda: self.trouble,
        )
        return run


def test_a_whole_change_is_driven_to_its_end() -> None:
    """Every step proved and stored, the devices as wanted, every connection closed."""
    stage = Stage()
    run = asyncio.run(stage.drive())
    assert run.finished
    events = stage.ledger.events("r1")
    assert {event.step for event in events if isinstance(event, Proved)} == set(BY_ID)
    assert events[-1] == Finished()
    assert stage.reporter.events == list(events)
    assert sorted(stage.reporter.started) == sorted(BY_ID)
    found = stage.net.units
    assert found[AT["north"]].sources["one"].number == 411
    assert found[AT["south"]].sources["one"].number == 311
    assert found[AT["node"]].destinations["in"].hears == 311
    assert found[NEW].sources["one"].enabled
    assert sorted(stage.net.closed) == sorted(set(stage.net.opened))
    assert stage.person.asked == ["by-hand:node.tally", "go:1"]


def test_devices_are_spoken_to_side_by_side_and_one_part_is_read() -> None:
    """Two devices at once; the whole state only for a save, which is to keep all of it.

    A readdress looks at the sources, too: they have to be off; and at what was set before it.
    A setting that is to be set while a source is off looks at that, too.
    """
    stage = Stage()
    asyncio.run(stage.drive())
    assert stage.net.most_at_once > 1
    off = {Part.SOURCES, Part.SETTINGS}
    more = (EVERYTHING, off, off | {Part.INTERFACES})
    assert all(len(parts) == 1 or parts in more for parts in stage.net.parts)
    assert stage.net.parts.count(EVERYTHING) == 2
    assert frozenset({Part.INTERFACES}) in stage.net.parts


def test_what_comes_up_while_the_disk_is_busy_is_stored_together() -> None:
    """With a slow disk there are far fewer calls than events, and none is out of order."""

    class Slow(Ledger):
        def append(self, run: str, events: Iterable[Event], at: datetime) -> None:
            time.sleep(0.02)
            super().append(run, events, at)

    count = 12
    units = {
        f"10.44.3.{100 + n}": replace(
            state_of("north", sources={"one": source(311 + n, enabled=True)}),
            identity=Identity(serial=f"S-{n}", model="M-1"),
        )
        for n in range(count)
    }
    steps = tuple(
        replace(BY_ID["north.off"], id=f"s{n}", device=f"d{n}", at=f"10.44.3.{100 + n}", order=n)
        for n in range(count)
    )
    ledger = Slow()
    run = Run(
        Sequence(steps=steps, width=count),
        {f"d{n}": Identity(serial=f"S-{n}", model="M-1") for n in range(count)},
    )
    reporter = Reporter()
    asyncio.run(
        drive(
            run,
            "r1",
            open_adapter=Net(units).open,
            probe=Net(units).probe,
            ledger=ledger,
            clock=Clock(),
            reporter=reporter,
            person=Person(),
        )
    )
    assert run.finished
    stored = ledger.events("r1")
    assert len(ledger.rounds) <= 5
    assert len(stored) == count * 3 + 1
    assert reporter.events == list(stored)
    for one in steps:
        own = [type(event) for event in stored if getattr(event, "step", None) == one.id]
        assert own == [Intended, Sent, Proved]


def test_trouble_beside_the_ledger_pauses() -> None:
    """What can't be kept true any more stops new steps; those in hand finish."""
    stage = Stage(trouble="the notes can't be kept true")
    run = asyncio.run(stage.drive())
    assert run.paused is not None
    assert run.paused.startswith("the notes can't be kept true")
    events = stage.ledger.events("r1")
    begun = {event.step for event in events if isinstance(event, Intended)}
    assert begun == {event.step for event in events if isinstance(event, Proved)}
    assert begun


def test_the_events_of_one_round_are_stored_in_one_call() -> None:
    """Both first intents go to disk together, before any write."""
    stage = Stage()
    seen: list[int] = []

    def before(what: str, _device: str) -> None:
        if what == "write":
            seen.append(len(stage.ledger.rounds))

    stage.net.before = before
    asyncio.run(stage.drive())
    assert stage.ledger.rounds[0] == (Intended("north.off"), Intended("south.off"))
    assert seen[0] == 1


def test_a_device_is_looked_at_while_the_intent_goes_to_disk() -> None:
    """The write waits; and where the disk stalls, it waits for a look anew."""
    looked = threading.Event()

    class Stalling(Ledger):
        def append(self, run: str, events: Iterable[Event], at: datetime) -> None:
            assert looked.wait(10.0), "nobody looked at the device meanwhile"
            time.sleep(self.stall_s)
            super().append(run, events, at)

        stall_s = 0.0

    for stall_s, looks in ((0.0, 1), (NEWS_S + 0.1, 2)):
        looked.clear()
        ledger = Stalling()
        ledger.stall_s = stall_s
        stage = Stage(ledger=ledger, sequence=Sequence(steps=(BY_ID["north.off"],)))

        def before(what: str, _device: str, stage: Stage = stage) -> None:
            if what == "read":
                looked.set()
            else:
                assert stage.ledger.rounds, "a write before its intent is on disk"

        stage.net.before = before
        assert asyncio.run(stage.drive()).finished
        assert stage.net.requests == [*["read north"] * looks, "write north", "read north"]


def test_a_lost_answer_is_settled_by_reading() -> None:
    """The write landed; the run goes on without sending it again."""
    stage = Stage(sequence=Sequence(steps=(BY_ID["north.off"],)))
    lost = OutcomeUnknown(device="north", address=AT["north"], doing="writing")
    stage.net.fault = lambda what, _: lost if what == "answer" else None
    run = asyncio.run(stage.drive())
    assert run.finished
    assert stage.net.requests.count("write north") == 1
    assert any(isinstance(event, Sent) and not event.known for event in stage.ledger.events("r1"))


def test_a_device_that_is_away_pauses_the_run_and_a_resume_finishes_it() -> None:
    """What depends on it waits; when it is back, the same ledger leads to the end."""
    stage = Stage()
    away = Unreachable(device="south", address=AT["south"], doing="reading")
    stage.net.fault = lambda _, device: away if device == "south" else None
    run = asyncio.run(stage.drive())
    assert run.paused is not None
    assert "south" in run.paused
    assert stage.net.requests.count("write south") == 0
    stage.net.fault = lambda _what, _device: None
    run = asyncio.run(stage.drive())
    assert run.finished
    assert Resumed() in stage.ledger.events("r1")


def test_a_no_go_pauses() -> None:
    """The person's word is kept, with the name."""
    stage = Stage(person=Person(go=False))
    run = asyncio.run(stage.drive())
    assert run.paused is not None
    assert any(isinstance(event, Failed) for event in stage.ledger.events("r1"))


def test_the_first_press_finishes_what_is_in_hand() -> None:
    """After the press no further step is begun; each one begun is proved; the pause is stored."""
    stage = Stage()

    async def main() -> Run:
        stage.interrupts = interrupts = Interrupts()
        stage.net.before = lambda _what, _device: (
            interrupts.press() if not interrupts.presses else None
        )
        return await stage.drive()

    run = asyncio.run(main())
    assert run.paused == BY_OPERATOR
    events = stage.ledger.events("r1")
    begun = {event.step for event in events if isinstance(event, Intended)}
    assert begun == {event.step for event in events if isinstance(event, Proved)}
    assert begun == {"north.off", "south.off"}
    assert events[-1] == Paused(BY_OPERATOR)


def test_the_first_press_does_not_wait_for_an_answer_to_a_question() -> None:
    """An open question is taken back: the run pauses though nobody answers."""
    by_hand = Sequence(steps=(step("node.tally", StepKind.BY_HAND, None, None),))

    async def main() -> Run:
        person = Silent()
        stage = Stage(person=person, sequence=by_hand)
        stage.interrupts = Interrupts()
        driving = asyncio.ensure_future(stage.drive())
        await asyncio.wait_for(person.put.wait(), 5)
        stage.interrupts.press()
        return await asyncio.wait_for(driving, 5)

    run = asyncio.run(main())
    assert run.paused is not None
    assert run.paused.startswith(BY_OPERATOR)


def test_the_second_press_stops_at_once_and_a_resume_reads_first() -> None:
    """Nothing in hand is finished; that is stored; the resumed run settles it and finishes."""
    stage = Stage()

    def press_twice(what: str, _device: str) -> None:
        if what == "write" and stage.interrupts is not None:
            stage.interrupts.press()
            stage.interrupts.press()

    async def main() -> Run:
        stage.interrupts = Interrupts()
        return await stage.drive()

    stage.net.before = press_twice
    run = asyncio.run(main())
    assert not run.finished
    assert stage.ledger.events("r1")[-1] == Paused(AT_ONCE_BY_OPERATOR)
    assert sorted(stage.net.closed) == sorted(set(stage.net.opened))
    stage.interrupts = None
    stage.net.before = lambda _what, _device: None
    assert asyncio.run(stage.drive()).finished


def test_a_bug_in_a_task_surfaces() -> None:
    """What is no device's error ends the drive as it is, with every connection closed.

    Two devices come upon it at once here; of the second one no traceback is left over.
    """
    stage = Stage()
    stage.net.fault = lambda what, _: ZeroDivisionError() if what == "write" else None
    left: list[object] = []

    async def main() -> None:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: left.append(context))
        try:
            await stage.drive()
        finally:
            gc.collect()

    with pytest.raises(ZeroDivisionError):
        asyncio.run(main())
    gc.collect()
    assert sum(request.startswith("write ") for request in stage.net.requests) > 1
    assert left == []
    assert sorted(stage.net.closed) == sorted(set(stage.net.opened))


def test_nothing_follows_from_what_can_not_be_stored() -> None:
    """A ledger that fails ends the drive before anything is written."""

    class Full(Ledger):
        def append(self, *_: object) -> None:
            raise LedgerError("the disk is full")

    stage = Stage(ledger=Full())
    with pytest.raises(LedgerError, match="full"):
        asyncio.run(stage.drive())
    assert set(stage.net.requests) <= {"read north", "read south"}


def test_threads_take_short_turns_while_devices_are_driven() -> None:
    """And the usual ones again afterwards."""
    usual = sys.getswitchinterval()
    with short_turns():
        assert sys.getswitchinterval() == pytest.approx(TURN_S)
    assert sys.getswitchinterval() == usual
