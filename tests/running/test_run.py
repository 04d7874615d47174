"""Dialogues with a run: the rules of its order, one by one."""

from dataclasses import replace

import pytest

from orchestrator.facility.step import Sequence, StepKind
from orchestrator.running.events import (
    Answered,
    Event,
    Failed,
    Failure,
    Finished,
    Intended,
    Paused,
    Proved,
    Resumed,
    Sent,
)
from orchestrator.running.gate import Words
from orchestrator.running.operations import (
    Accepted,
    Answers,
    Elapsed,
    Nobody,
    Outcome,
    ReadFailed,
    Refused,
    Reply,
    Saw,
    Stored,
    Stranger,
    Unsure,
    Vacant,
    Write,
)
from orchestrator.running.run import Run
from orchestrator.running.steps.life import OutOfTurn
from orchestrator.running.steps.patience import Patience
from tests.running.dialogue import Dialogue, Line, store
from tests.running.made_up import (
    AT,
    BENCH,
    BY_ID,
    EXPECTS,
    FRESH,
    JOINED,
    NEW,
    SEQUENCE,
    one,
    source,
    state_of,
    step,
)

OFF = BY_ID["north.off"]
ON_AIR = state_of("north", sources={"one": source(311, enabled=True)})
SILENT = state_of("north", sources={"one": source(311, enabled=False)})
READ = f"read north.off at {AT['north']}"
INTENT = "store intended north.off"
WRITE = f"write north.off at {AT['north']}"
SHORT = {name: Patience(late_s=15.0, settle_s=30.0) for name in AT}
AT_BENCH = state_of(FRESH, address=BENCH)
AT_NEW = state_of(FRESH, address=JOINED)
MOVE = one(BY_ID["fresh.move"])
READ_OLD, READ_NEW = f"read fresh.move at {AT[FRESH]}", f"read fresh.move at {NEW}"
WRITE_MOVE, PROBE = f"write fresh.move at {AT[FRESH]}", f"probe fresh.move at {NEW}"


def talk(
    sequence: Sequence | None = None,
    *events: Event,
    width: int | None = None,
    questions: Words | None = None,
) -> Dialogue:
    """A dialogue over ``sequence`` (by default the one step that switches north off)."""
    whole = sequence or one(OFF)
    return Dialogue(Run(whole, EXPECTS, events, width=width, patience=SHORT, questions=questions))


def waits(step: str, *seconds: float, then: Line) -> list[Line]:
    """Wait, and read again with the same answer, time after time."""
    lines: list[Line] = []
    for each in seconds:
        lines += [(f"wait {step} {each:g}", Elapsed()), then]
    return lines


def test_a_step_is_intended_read_written_read_back_and_proved() -> None:
    """The life of a step that goes well, each operation in its turn, and the run's end."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Accepted()),
        (READ, SILENT),
        store("sent north.off known + proved north.off"),
        store("finished"),
    )
    talking.is_open()
    assert talking.run.finished
    assert talking.run.paused is None


def test_what_is_as_wanted_already_is_not_written() -> None:
    """A value that is as wanted before anything was sent is proved without a write."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, SILENT),
        store("proved north.off already"),
        store("finished"),
    )


def test_another_hand_is_not_overwritten() -> None:
    """A value neither as found nor wanted stops the step with nothing sent (H7)."""
    talking = talk(one(BY_ID["south.take"]))
    talking.play(
        store("intended south.take"),
        (f"read south.take at {AT['south']}", state_of("south", sources={"one": source(415)})),
        store("failed south.take other_hand"),
        store("paused"),
    )
    assert talking.run.paused is not None
    assert "415" in talking.run.paused
    assert not any(isinstance(event, Sent) for event in talking.events)


@pytest.mark.parametrize(
    ("told", "why"),
    [
        (Nobody(), "unreachable"),
        (Stranger("M-1 serial S-other answers"), "wrong_device"),
        (ReadFailed(Failure.REFUSED, "401"), "refused"),
        (ReadFailed(Failure.BROKEN, "no sense"), "broken"),
    ],
)
def test_nothing_is_written_where_the_read_before_fails(told: Outcome, why: str) -> None:
    """Nobody, a stranger and a failed read each end the step before anything is sent."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, told),
        store(f"failed north.off {why}"),
        store("paused"),
    )


def test_the_run_itself_knows_a_stranger() -> None:
    """A state of another serial counts as a stranger, whatever the driver makes of it."""
    other = replace(ON_AIR, identity=replace(EXPECTS["north"], serial="S-other"))
    talking = talk()
    talking.play(store("intended north.off"), (READ, other), store("failed north.off wrong_device"))


def test_a_newer_firmware_is_still_the_device_meant() -> None:
    """Serial and model make the unit; its firmware may have been renewed."""
    newer = replace(ON_AIR, identity=replace(EXPECTS["north"], firmware="9.9"))
    talking = talk()
    talking.play(store("intended north.off"), (READ, newer), (WRITE, None))


def test_a_late_write_is_waited_for_and_then_failed() -> None:
    """A yes that does not show is read again after growing waits, for late_s, then not done."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Accepted()),
        (READ, ON_AIR),
        *waits("north.off", 1, 2, 4, 8, then=(READ, ON_AIR)),
        store("sent north.off known + failed north.off not_done unsure"),
        store("paused"),
    )


def test_a_late_write_that_shows_in_time_is_proved() -> None:
    """One wait later the wanted value is there."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Accepted()),
        (READ, ON_AIR),
        ("wait north.off 1", Elapsed()),
        (READ, SILENT),
        store("sent north.off known + proved north.off"),
    )


def test_a_reboot_is_waited_for() -> None:
    """Nobody at the read-back is waited for beyond late_s, as long as a device may settle."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Accepted()),
        (READ, Nobody()),
        *waits("north.off", 1, 2, 4, 8, 2, 4, 8, 16, then=(READ, Nobody())),
        ("wait north.off 30", Elapsed()),
        (READ, SILENT),
        store("sent north.off known + proved north.off"),
    )


def test_another_hand_after_the_write_is_said_to_be_unsure() -> None:
    """What reads back as something else may have been written by us in between."""
    renumber = one(BY_ID["south.take"])
    at = AT["south"]
    talking = talk(renumber)
    talking.play(
        store("intended south.take"),
        (f"read south.take at {at}", state_of("south", sources={"one": source(411)})),
        (f"write south.take at {at}", Accepted()),
        (f"read south.take at {at}", state_of("south", sources={"one": source(999)})),
        store("sent south.take known + failed south.take other_hand unsure"),
    )


def test_an_unknown_outcome_is_settled_by_reading() -> None:
    """A lost answer: the doubt is stored, then the read shows that it landed."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Unsure("timed out")),
        store("sent north.off unknown"),
        (READ, SILENT),
        store("proved north.off"),
        store("finished"),
    )


def test_the_same_value_is_sent_again_only_after_the_deadline_and_twice_at_most() -> None:
    """The old value proves nothing until the request can't land any more; three sends in all."""
    talking = talk()
    talking.play(store("intended north.off"), (READ, ON_AIR))
    for _ in range(3):
        talking.play(
            (WRITE, Unsure("timed out")),
            store("sent north.off unknown"),
            (READ, ON_AIR),
            *waits("north.off", 1, 2, 4, 8, then=(READ, ON_AIR)),
        )
    talking.play(store("failed north.off unknown unsure"), store("paused"))


def test_nobody_while_unsure_is_waited_for_then_unknown() -> None:
    """A device that went away over a write is unknown in the end, not unreachable."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Unsure("dropped")),
        store("sent north.off unknown"),
        (READ, Nobody()),
        *waits("north.off", 1, 2, 4, 8, 2, 4, 8, 16, 30, then=(READ, Nobody())),
        store("failed north.off unknown unsure"),
    )


def test_a_refusal_fails_the_step_for_good() -> None:
    """The device's no is kept with its words."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Refused(Failure.REJECTED, "not while locked")),
        store("failed north.off rejected"),
        store("paused"),
    )
    assert Failed("north.off", Failure.REJECTED, "not while locked") in talking.events


def test_a_busy_device_is_asked_again_with_a_read_before_each_write() -> None:
    """Busy: wait as long as it asks, at least our own wait, read again, then write again."""
    talking = talk()
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Refused(Failure.BUSY, "locked", retry_after_s=3.0)),
        ("wait north.off 3", Elapsed()),
        (READ, ReadFailed(Failure.BUSY, "locked")),
        ("wait north.off 2", Elapsed()),
        (READ, ON_AIR),
        (WRITE, Accepted()),
        (READ, SILENT),
        store("sent north.off known + proved north.off"),
    )


def test_a_busy_device_is_not_asked_for_ever() -> None:
    """After four waits busy is a failure; a device that asks for an hour gets a minute."""
    talking = talk()
    talking.play(store("intended north.off"))
    for _ in range(4):
        talking.play(
            (READ, ReadFailed(Failure.BUSY, "locked", 3600.0)), ("wait north.off 60", Elapsed())
        )
    talking.play((READ, ReadFailed(Failure.BUSY, "locked")), store("failed north.off busy"))


def test_a_readdress_is_proved_by_the_devices_yes() -> None:
    """Read, probe the new address, read, write: its read-back is the confirm that follows."""
    talking = talk(MOVE)
    talking.play(
        store("intended fresh.move"),
        (READ_OLD, AT_BENCH),
        (PROBE, Vacant()),
        (READ_OLD, AT_BENCH),
        (WRITE_MOVE, Accepted()),
        store("sent fresh.move known + proved fresh.move"),
        store("finished"),
    )


def test_nothing_is_moved_onto_an_address_that_answers() -> None:
    """Whoever answers at the new address, the readdress is not sent (H2)."""
    talking = talk(MOVE)
    talking.play(
        store("intended fresh.move"),
        (READ_OLD, AT_BENCH),
        (PROBE, Answers("something on port 8080")),
        store("failed fresh.move occupied"),
    )


def test_what_changed_while_the_new_address_was_probed_is_seen() -> None:
    """That takes a second, in which a device can lose its power, and come back switched on."""
    on = replace(state_of(FRESH, address=BENCH), sources={"one": source(1, enabled=True)})
    talking = talk(MOVE)
    talking.play(
        store("intended fresh.move"),
        (READ_OLD, AT_BENCH),
        (PROBE, Vacant()),
        (READ_OLD, on),
        store("failed fresh.move other_hand"),
    )


def test_a_device_that_is_busy_after_the_probe_is_probed_again() -> None:
    """Somebody may have come to the new address while it was waited for."""
    talking = talk(MOVE)
    talking.play(
        store("intended fresh.move"),
        (READ_OLD, AT_BENCH),
        (PROBE, Vacant()),
        (READ_OLD, AT_BENCH),
        (WRITE_MOVE, Refused(Failure.BUSY, "locked")),
        ("wait fresh.move 1", Elapsed()),
        (READ_OLD, AT_BENCH),
        (PROBE, Answers("something")),
        store("failed fresh.move occupied"),
    )


@pytest.mark.parametrize("told", [Nobody(), Stranger("M-1 serial S-9 answers")])
def test_a_device_not_at_its_old_address_is_looked_for_at_the_new(told: Outcome) -> None:
    """Found there by its own identity, the readdress is proved and not sent."""
    talking = talk(MOVE)
    talking.play(
        store("intended fresh.move"),
        (READ_OLD, told),
        (READ_NEW, AT_NEW),
        store("proved fresh.move already"),
    )


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        (Nobody(), Nobody(), "unreachable"),
        (Stranger("S-9 answers"), Nobody(), "wrong_device"),
        (Nobody(), Stranger("S-9 answers"), "wrong_device"),
        (Nobody(), ReadFailed(Failure.REFUSED, "403"), "refused"),
    ],
)
def test_a_device_at_neither_address_is_not_readdressed(
    old: Outcome, new: Outcome, why: str
) -> None:
    """The reason is the most telling of the two."""
    talking = talk(MOVE)
    talking.play(
        store("intended fresh.move"),
        (READ_OLD, old),
        (READ_NEW, new),
        store(f"failed fresh.move {why}"),
    )


SETTLING = (2, 4, 8, 16, 30)


def test_a_readdress_in_doubt_is_read_at_both_addresses_and_never_sent_twice() -> None:
    """Still at the old address to the end: unknown, for a person; no second send."""
    talking = talk(MOVE)
    talking.play(
        store("intended fresh.move"),
        (READ_OLD, AT_BENCH),
        (PROBE, Vacant()),
        (READ_OLD, AT_BENCH),
        (WRITE_MOVE, Unsure("dropped")),
        store("sent fresh.move unknown"),
        (READ_OLD, Nobody()),
        (READ_NEW, Nobody()),
        ("wait fresh.move 2", Elapsed()),
        (READ_OLD, AT_BENCH),
        *waits("fresh.move", *SETTLING[1:], then=(READ_OLD, AT_BENCH)),
        store("failed fresh.move unknown unsure"),
        store("paused"),
    )


def test_a_readdress_in_doubt_that_landed_is_proved() -> None:
    """Found at the new address by its own identity."""
    talking = talk(MOVE)
    talking.play(
        store("intended fresh.move"),
        (READ_OLD, AT_BENCH),
        (PROBE, Vacant()),
        (READ_OLD, AT_BENCH),
        (WRITE_MOVE, Unsure("dropped")),
        store("sent fresh.move unknown"),
        (READ_OLD, Nobody()),
        (READ_NEW, AT_NEW),
        store("proved fresh.move"),
    )


def test_a_resumed_readdress_waits_until_it_can_no_longer_land_and_probes_again() -> None:
    """After a stop it is sent again only when reads at the old address prove it did not land."""
    talking = talk(MOVE, Intended("fresh.move"))
    talking.play(
        store("resumed"),
        store("intended fresh.move"),
        (READ_OLD, AT_BENCH),
        *waits("fresh.move", *SETTLING, then=(READ_OLD, AT_BENCH)),
        (PROBE, Vacant()),
        (READ_OLD, AT_BENCH),
        (WRITE_MOVE, Accepted()),
        store("sent fresh.move known + proved fresh.move"),
    )


def test_a_readdress_of_another_interface_is_read_where_the_device_is_spoken_to() -> None:
    """Only the interface that it is spoken to on takes it away."""
    old, new = replace(BENCH, interface="b", address="10.45.3.9"), replace(JOINED, interface="b")
    second = step("fresh.b", StepKind.READDRESS, old, new)
    talking = talk(one(second))
    read = f"read fresh.b at {AT[FRESH]}"
    talking.play(store("intended fresh.b"), (read, Nobody()), store("failed fresh.b unreachable"))


CONFIRM = (BY_ID["fresh.move"], BY_ID["fresh.there"])
MOVED = (Intended("fresh.move"), Sent("fresh.move", known=True), Proved("fresh.move"), Resumed())
THERE = f"read fresh.there at {NEW}"


def confirming() -> Dialogue:
    """A dialogue that stands at the confirm."""
    move = replace(CONFIRM[0], after=(), phase=0)
    there = replace(CONFIRM[1], phase=0)
    return talk(Sequence(steps=(move, there)), *MOVED)


def test_a_confirm_waits_for_the_device_to_settle() -> None:
    """Nobody, then a failed read, then the device itself at its new address."""
    talking = confirming()
    talking.play(
        store("intended fresh.there"),
        (THERE, Nobody()),
        ("wait fresh.there 2", Elapsed()),
        (THERE, ReadFailed(Failure.BROKEN, "starting")),
        ("wait fresh.there 4", Elapsed()),
        (THERE, AT_NEW),
        store("proved fresh.there"),
        store("finished"),
    )


def test_a_stranger_at_the_new_address_fails_the_confirm() -> None:
    """Another unit there is never written to (H5)."""
    talking = confirming()
    talking.play(
        store("intended fresh.there"),
        (THERE, Stranger("S-9 answers")),
        store("failed fresh.there wrong_device"),
    )


def test_a_device_found_at_its_old_address_after_all_takes_the_readdress_back() -> None:
    """Both steps fail, so that a resume can send the readdress again once it is proved lost."""
    talking = confirming()
    talking.play(
        store("intended fresh.there"),
        (THERE, Nobody()),
        *waits("fresh.there", *SETTLING, then=(THERE, Nobody())),
        (f"read fresh.there at {AT[FRESH]}", AT_BENCH),
        store("failed fresh.move not_done unsure + failed fresh.there not_done"),
        store("paused"),
    )


def test_a_device_found_nowhere_needs_its_cable_moved() -> None:
    """The words name the cable's new network and the way on."""
    talking = confirming()
    talking.play(
        store("intended fresh.there"),
        (THERE, Nobody()),
        *waits("fresh.there", *SETTLING, then=(THERE, Nobody())),
        (f"read fresh.there at {AT[FRESH]}", Nobody()),
        store("failed fresh.there unreachable"),
        store("paused"),
    )
    assert talking.run.paused is not None
    assert f"move its cable to the network of {NEW}, then resume" in talking.run.paused


def test_a_save_is_always_sent_and_read_back() -> None:
    """What a device says of itself before is no reason not to save; afterwards it has to say so."""
    talking = talk(one(BY_ID["south.save"]))
    at = AT["south"]
    talking.play(
        store("intended south.save"),
        (f"read south.save at {at}", state_of("south", unsaved=False)),
        (f"write south.save at {at}", Accepted()),
        (f"read south.save at {at}", state_of("south", unsaved=True)),
        ("wait south.save 1", Elapsed()),
        (f"read south.save at {at}", state_of("south", unsaved=None)),
        store("sent south.save known + proved south.save"),
    )


def test_a_save_in_doubt_of_a_device_that_cannot_say_is_sent_again() -> None:
    """No word on what is unsaved proves nothing while the outcome is unknown."""
    talking = talk(one(BY_ID["south.save"]))
    at = AT["south"]
    read, write = f"read south.save at {at}", f"write south.save at {at}"
    cannot_say = state_of("south", unsaved=None)
    talking.play(
        store("intended south.save"),
        (read, cannot_say),
        (write, Unsure("dropped")),
        store("sent south.save unknown"),
        (read, cannot_say),
        *waits("south.save", 1, 2, 4, 8, then=(read, cannot_say)),
        (write, Accepted()),
        (read, cannot_say),
        store("sent south.save known + proved south.save"),
    )


def test_a_step_by_hand_asks_a_person() -> None:
    """Go proves it, and who said so is stored with it."""
    by_hand = replace(OFF, id="north.cable", kind=StepKind.BY_HAND, source=None)
    talking = talk(one(by_hand))
    talking.play(
        store("intended north.cable"),
        ("ask by-hand:north.cable", Reply(go=True, by="M. Okafor")),
        store("answered by-hand:north.cable go + proved north.cable"),
        store("finished"),
    )
    assert Answered("by-hand:north.cable", go=True, by="M. Okafor") in talking.events


def test_a_step_by_hand_that_is_not_done_fails() -> None:
    """No-go is no error of a device, but the run can't go on over it."""
    by_hand = replace(OFF, id="north.cable", kind=StepKind.BY_HAND, source=None)
    talking = talk(one(by_hand))
    talking.play(
        store("intended north.cable"),
        ("ask by-hand:north.cable", Reply(go=False)),
        store("answered by-hand:north.cable no-go + failed north.cable not_done"),
    )


def two(width: int = 16) -> Sequence:
    """Two steps on two devices, without an order between them."""
    return Sequence(steps=(OFF, BY_ID["south.off"]), width=width)


def test_a_step_waits_for_what_it_comes_after() -> None:
    """The second starts only when the first's proof is stored, not when it is read."""
    after = replace(BY_ID["south.off"], after=("north.off",))
    talking = talk(Sequence(steps=(after, OFF)))
    talking.play(
        store("intended north.off"),
        (READ, SILENT),
    )
    talking.is_open("store proved north.off already")
    talking.play(store("proved north.off already"), ("store intended south.off", None))


def test_a_step_waits_for_what_it_stands_behind() -> None:
    """It goes second for the sake of silence, though nothing else keeps it."""
    behind = replace(BY_ID["south.off"], behind=("north.off",))
    talking = talk(Sequence(steps=(behind, OFF)))
    talking.is_open("store intended north.off")
    talking.play(
        store("intended north.off"),
        (READ, SILENT),
        store("proved north.off already"),
        ("store intended south.off", None),
    )


def test_what_failed_holds_nobody_back_who_stands_behind_it() -> None:
    """Nor does what depends on it and can't start any more."""
    follow = replace(BY_ID["node.follow"], after=("north.off",))
    behind = replace(BY_ID["south.off"], behind=("north.off", "node.follow"))
    talking = talk(Sequence(steps=(OFF, follow, behind)))
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Refused(Failure.REJECTED, "no")),
        store("failed north.off rejected"),
        ("store intended south.off", None),
    )


def test_what_its_device_keeps_from_starting_holds_nobody_back() -> None:
    """North can't be reached: its other step will not start, and south does not wait for it."""
    label = step("north.label", StepKind.SET, "", "N-PGM-1", source="one", order=9)
    behind = replace(BY_ID["south.off"], behind=("north.label",), order=10)
    talking = talk(Sequence(steps=(OFF, label, behind)))
    talking.play(store("intended north.off"))
    talking.is_open(READ)
    talking.play(
        (READ, Nobody()),
        store("failed north.off unreachable"),
        ("store intended south.off", None),
    )


def test_what_was_begun_before_a_resume_stands_behind_nobody() -> None:
    """It is settled first, though what it stood behind has to be done again."""
    behind = replace(BY_ID["south.off"], behind=("north.off",))
    stored = (Intended("south.off"), Resumed())
    talking = talk(Sequence(steps=(OFF, behind)), *stored)
    talking.is_open("store intended north.off", "store intended south.off")


def test_devices_are_worked_on_side_by_side() -> None:
    """Two devices have a step in hand at once."""
    talking = talk(two())
    talking.is_open("store intended north.off", "store intended south.off")


def test_at_most_width_devices_are_spoken_to_at_once() -> None:
    """With a width of one, the second device waits for the first; the order decides which."""
    first = Sequence(steps=(replace(OFF, order=2), replace(BY_ID["south.off"], order=1)))
    talking = talk(replace(first, width=1))
    talking.is_open("store intended south.off")


def test_a_width_that_is_given_replaces_the_sequences_own() -> None:
    """The caller's width counts."""
    talking = talk(two(), width=1)
    talking.is_open("store intended north.off")


def test_a_device_has_one_step_in_hand_and_the_lowest_order_first() -> None:
    """Two steps on one device are done one after the other."""
    label = step("north.label", StepKind.SET, "", "N-PGM-1", source="one", order=-1)
    talking = talk(Sequence(steps=(OFF, label)))
    talking.is_open("store intended north.label")


def test_a_phase_waits_for_go() -> None:
    """All of the first phase is proved before the question, which is stored and then asked."""
    second = replace(BY_ID["south.off"], phase=1)
    talking = talk(Sequence(steps=(OFF, second)), questions=lambda _: ("Is all well on air?",))
    talking.play(store("intended north.off"), (READ, SILENT))
    talking.is_open("store proved north.off already")
    talking.play(
        store("proved north.off already"),
        store("asked go:1"),
        ("ask go:1", None),
    )
    assert getattr(talking.open["ask go:1"], "text", None) == ("Is all well on air?",)
    talking.tell("ask go:1", Reply(go=True, by="M. Okafor"))
    talking.play(store("answered go:1 go"), ("store intended south.off", None))


def test_no_go_pauses_and_is_asked_again_at_resume() -> None:
    """A no is a no for that night: nothing of the phase starts, and resume asks again."""
    second = replace(BY_ID["south.off"], phase=1)
    sequence = Sequence(steps=(OFF, second))
    stored = (Intended("north.off"), Proved("north.off"), Resumed())
    talking = talk(sequence, *stored)
    talking.play(
        store("asked go:1"),
        ("ask go:1", Reply(go=False)),
        store("answered go:1 no-go"),
        store("paused"),
    )
    assert talking.run.paused == "no-go before phase 2"
    again = talk(sequence, *stored, *talking.events)
    again.play(store("resumed"), store("asked go:1"), ("ask go:1", None))


def test_a_failed_step_holds_back_only_what_depends_on_it() -> None:
    """The other device's work is finished, then the run is paused and says why."""
    after = replace(BY_ID["node.follow"], after=("north.off",))
    talking = talk(Sequence(steps=(OFF, BY_ID["south.off"], after)))
    read = f"read south.off at {AT['south']}"
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Refused(Failure.REJECTED, "no")),
        store("failed north.off rejected"),
        store("intended south.off"),
        (read, state_of("south", sources={"one": source(411)})),
        store("proved south.off already"),
        store("paused"),
    )
    assert talking.run.paused == "north.off: no"
    talking.is_open()


def test_a_failed_step_does_not_hold_back_its_device_unless_that_is_in_doubt() -> None:
    """After a plain no the device's other work goes on; after an unknown outcome it does not."""
    label = step("north.label", StepKind.SET, "", "N-PGM-1", source="one", order=9)
    sequence = Sequence(steps=(OFF, label))
    for read, written, failed, then in (
        (ON_AIR, Refused(Failure.REJECTED, "no"), "rejected", "intended north.label"),
        (ON_AIR, Refused(Failure.UNREACHABLE, "no"), "unreachable", "paused"),
        (Nobody(), None, "unreachable", "paused"),
        (Stranger("S-9"), None, "wrong_device", "paused"),
    ):
        talking = talk(sequence)
        talking.play(store("intended north.off"), (READ, read))
        if written is not None:
            talking.play((WRITE, written))
        talking.play(store(f"failed north.off {failed}"))
        talking.is_open(f"store {then}")


def test_a_step_in_doubt_holds_back_its_device() -> None:
    """While one write may still land, nothing else is written there."""
    label = step("north.label", StepKind.SET, "", "N-PGM-1", source="one", order=9)
    talking = talk(Sequence(steps=(OFF, label)))
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        (WRITE, Accepted()),
        (READ, ON_AIR),
        *waits("north.off", 1, 2, 4, 8, then=(READ, ON_AIR)),
        store("sent north.off known + failed north.off not_done unsure"),
    )
    talking.is_open("store paused")


def test_a_pause_from_outside_finishes_what_is_in_hand() -> None:
    """No new step starts; the step in hand goes to its proof; then the reason is stored."""
    talking = talk(two(width=1))
    talking.play(store("intended north.off"), (READ, ON_AIR))
    talking.run.pause("stopped by the operator")
    talking.run.pause("a later reason")
    talking.play(
        (WRITE, Accepted()),
        (READ, SILENT),
        store("sent north.off known + proved north.off"),
        store("paused"),
    )
    assert talking.run.paused == "stopped by the operator"
    talking.is_open()


def test_what_may_have_landed_is_settled_before_anything_else_on_its_device() -> None:
    """At resume the doubtful step comes before one of a lower order on the same device."""
    label = step("north.label", StepKind.SET, "", "N-PGM-1", source="one", order=-1)
    talking = talk(Sequence(steps=(OFF, label)), Intended("north.off"))
    talking.play(
        store("resumed"),
        store("intended north.off"),
        (READ, SILENT),
        ("store proved north.off + intended north.label", None),
    )


def test_a_resumed_write_that_did_not_land_is_sent_again_after_the_deadline() -> None:
    """The old value, read until the deadline, then the same value again."""
    talking = talk(one(OFF), Intended("north.off"), Resumed())
    talking.play(
        store("intended north.off"),
        (READ, ON_AIR),
        *waits("north.off", 1, 2, 4, 8, then=(READ, ON_AIR)),
        (WRITE, Accepted()),
        (READ, SILENT),
        store("sent north.off known + proved north.off"),
    )


def test_a_step_that_failed_for_sure_is_simply_tried_again_at_resume() -> None:
    """Nothing of it is on its way, so there is nothing to wait for."""
    failed = Failed("north.off", Failure.REJECTED, "no")
    talking = talk(one(OFF), Intended("north.off"), failed, Paused("no"))
    talking.play(store("resumed"), store("intended north.off"), (READ, ON_AIR), (WRITE, None))


def test_a_finished_run_stays_finished() -> None:
    """Nothing is asked of it, resumed or not."""
    talking = talk(one(OFF), Intended("north.off"), Proved("north.off"), Finished())
    talking.is_open()
    assert talking.run.finished


def test_an_empty_sequence_finishes() -> None:
    """Nothing to do is done."""
    talking = talk(Sequence(steps=()))
    talking.play(store("finished"))
    assert talking.run.finished


def test_steps_that_wait_for_each_other_are_said_to() -> None:
    """A circle in the order is no endless wait but a pause with the reason."""
    first = replace(OFF, after=("south.off",))
    second = replace(BY_ID["south.off"], after=("north.off",))
    talking = talk(Sequence(steps=(first, second)))
    talking.play(store("paused"))
    assert talking.run.paused == "the steps that are left wait for each other"


def test_an_operation_is_handed_out_once() -> None:
    """ready() gives what is new; settle() takes each answer once."""
    run = Run(one(OFF), EXPECTS)
    operation, _ = run.ready()
    assert run.ready() == ()
    run.settle(operation, Stored())
    with pytest.raises(OutOfTurn, match="not handed out"):
        run.settle(operation, Stored())


def test_an_answer_that_the_operation_can_not_have_changes_nothing() -> None:
    """Refused, and the right answer still counts afterwards."""
    run = Run(one(OFF), EXPECTS)
    operation, look = run.ready()
    before = run.state
    with pytest.raises(OutOfTurn, match="answered"):
        run.settle(operation, Accepted())
    with pytest.raises(OutOfTurn, match="answered"):
        run.settle(look, Elapsed())
    assert run.state == before
    assert run.ready() == ()
    run.settle(operation, Stored())
    assert run.state != before
    run.settle(look, Saw(ON_AIR))
    assert [type(one) for one in run.ready()] == [Write]


def test_a_look_goes_along_with_the_storing_of_its_intent() -> None:
    """To look changes nothing; the write waits for both, whichever comes first."""
    for first, second in ((READ, INTENT), (INTENT, READ)):
        talking = talk(one(OFF))
        talking.play((INTENT, None), (READ, None))
        for asks in (first, second):
            assert WRITE not in talking.open
            talking.tell(asks, Stored() if asks == INTENT else ON_AIR)
            talking.play()
        talking.is_open(WRITE)


def test_what_a_look_along_found_out_counts_once_the_intent_is_stored() -> None:
    """A step that fails there fails after its intent, and not before."""
    talking = talk(one(OFF))
    talking.play((READ, Nobody()))
    talking.is_open(INTENT)
    talking.play(store("intended north.off"))
    talking.is_open("store failed north.off unreachable")


def test_a_look_from_before_a_stalled_disk_is_made_again() -> None:
    """Somebody may have set the device since; a look that is not answered yet is none of those."""
    talking = talk(one(OFF))
    talking.play((READ, ON_AIR), (INTENT, Stored(stale=True)))
    talking.is_open(READ)
    talking.play((READ, SILENT))
    talking.is_open("store proved north.off already")
    talking = talk(one(OFF))
    talking.play((INTENT, Stored(stale=True)), (READ, ON_AIR))
    talking.is_open(WRITE)


def test_what_may_have_landed_before_a_resume_waits_for_the_disk() -> None:
    """What became of it is looked for once its new intent is stored: it is no look beforehand."""
    talking = talk(one(OFF), Intended("north.off"), Resumed())
    talking.play((INTENT, None))
    assert set(talking.open) == {INTENT}


def test_the_runs_own_questions_take_only_their_own_answers() -> None:
    """A go/no-go that is told the time has passed stays open."""
    run = Run(Sequence(steps=(replace(OFF, phase=1),)), EXPECTS)
    (asked,) = run.ready()
    run.settle(asked, Stored())
    (ask,) = run.ready()
    assert run.ready() == (), "it is asked once, however often the run is looked at"
    with pytest.raises(OutOfTurn):
        run.settle(ask, Elapsed())
    run.settle(ask, Reply(go=True))
    assert len(run.ready()) == 1


@pytest.mark.parametrize(
    ("sequence", "events", "said"),
    [
        (Sequence(steps=(OFF, OFF)), (), "one id"),
        (Sequence(steps=(BY_ID["north.on"],)), (), "north.take, which is not there"),
        (one(replace(OFF, behind=("north.take",))), (), "behind north.take, which is not there"),
        (one(replace(OFF, device="nobody")), (), "who nobody must prove"),
        (one(OFF), (Proved("south.off"),), "south.off, which is not there"),
    ],
)
def test_a_sequence_that_is_not_whole_is_refused(
    sequence: Sequence, events: tuple[Proved, ...], said: str
) -> None:
    """A run never starts on steps that can't be told apart, reached or known."""
    with pytest.raises(ValueError, match=said):
        Run(sequence, EXPECTS, events)


def test_the_made_up_change_starts_with_what_waits_for_nothing() -> None:
    """Phase two's device is left alone at first."""
    talking = talk(SEQUENCE)
    talking.is_open("store intended north.off", "store intended south.off")
