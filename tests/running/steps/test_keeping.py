"""What a save is to keep, and what happens where the device went back on it meanwhile."""

from dataclasses import replace

from orchestrator.facility.found import DestinationState, DeviceState
from orchestrator.facility.step import AddressValue, Hearing, Sequence, Step, StepKind
from orchestrator.running.events import Event, Failed, Failure, Intended, Paused, Proved, Resumed
from orchestrator.running.fold import Standing
from orchestrator.running.operations import Accepted, Nobody, Unsure
from orchestrator.running.run import Run
from orchestrator.running.steps.keeping import (
    lost,
    moves,
    onward,
    overtaken,
    overtaken_by,
    rests_on,
    saved,
    unsaved,
    values_set,
)
from tests.running.dialogue import UNTIL_HOPELESS, UNTIL_LATE, Dialogue, looked_at, store
from tests.running.made_up import AT, EXPECTS, SOUTH, number, source, state_of, step

OFF = step("south.off", StepKind.DISABLE, True, False)
TAKE = step("south.take", StepKind.RENUMBER, number(411), number(311), "south.off")
HEAR = step("south.hear", StepKind.REPOINT, Hearing(411), Hearing(311), destination="in")
SAVE = step("south.save", StepKind.SAVE, None, None, "south.take", "south.hear")
ON = step("south.on", StepKind.ENABLE, False, True, "south.save")
SAVE_AGAIN = step("south.again", StepKind.SAVE, None, None, "south.on", "south.save")
NEXT = step("north.take", StepKind.RENUMBER, number(9), number(411), "south.save")
STEPS = tuple(
    replace(each, order=order)
    for order, each in enumerate((OFF, TAKE, HEAR, SAVE, ON, SAVE_AGAIN, NEXT))
)
BY_ID = {each.id: each for each in STEPS}


def shows(figure: int, *, enabled: bool = False, hears: int = 311) -> DeviceState:
    """The device, with nothing unsaved: it says so after a power cycle too."""
    return state_of(
        SOUTH,
        sources={"one": source(figure, enabled=enabled)},
        destinations={"in": DestinationState(hears=hears)},
        unsaved=False,
    )


def names(steps: tuple[Step, ...]) -> list[str]:
    """Their ids."""
    return [each.id for each in steps]


def test_a_save_keeps_what_was_set_since_the_last_one() -> None:
    """What an earlier save kept, at once or by way of other steps, is no longer in danger."""
    first = unsaved(SAVE, BY_ID, ["south.hear", "south.off", "south.take"])
    assert names(first) == ["south.off", "south.take", "south.hear"]
    proved = ["south.off", "south.take", "south.hear", "south.save", "south.on"]
    assert names(unsaved(SAVE_AGAIN, BY_ID, proved)) == ["south.on"]


def test_what_a_step_rests_on() -> None:
    """A renumber on the switch, an enable on the number, of its own device; a readdress on all."""
    proved = ["south.hear", "south.take", "south.off", "north.take"]
    assert names(rests_on(ON, BY_ID, proved)) == ["south.off", "south.take"]
    assert names(rests_on(TAKE, BY_ID, ["south.off", "north.take"])) == ["south.off"]
    move = step("south.move", StepKind.READDRESS, None, None)
    assert names(rests_on(move, BY_ID, proved)) == ["south.off", "south.take", "south.hear"]
    assert rests_on(OFF, BY_ID, proved) == ()
    other = step("south.other", StepKind.ENABLE, False, True, source="two")
    assert rests_on(other, BY_ID, proved) == ()


def test_what_was_let_go_of_before_a_step_has_to_be_let_go_of_still() -> None:
    """By another source or destination of its own device, which it comes after; no others."""
    mine = step("south.mine", StepKind.RENUMBER, number(5), number(411), "south.take", source="two")
    proved = ["south.off", "south.take", "south.hear", "south.on"]
    assert names(rests_on(mine, BY_ID, proved)) == ["south.take"]
    heard = step("south.heard", StepKind.ENABLE, False, True, "south.hear", source="two")
    assert names(rests_on(heard, BY_ID, proved)) == ["south.hear"]


def test_where_something_is_lost_all_else_that_is_seen_to_be_lost_is_named_too() -> None:
    """One resume mends it all; what was not read, or is there, is left alone."""
    label = step("south.label", StepKind.SET, "", "New", source="one", setting="label", order=9)
    clock = step("south.clock", StepKind.SET, 0, 7, setting="ptp_domain", order=10)
    seen = shows(311, enabled=True)
    assert names(lost(TAKE, (OFF,), seen, (OFF, label, clock, HEAR))) == [
        "south.off",
        "south.label",
    ]
    assert lost(TAKE, (OFF,), shows(311), (label,)) == ()


def test_what_a_proved_save_kept() -> None:
    """All of its device that it comes after; nothing of a save that is not proved."""
    proved = ["south.off", "south.take", "south.hear", "south.save", "south.on"]
    assert saved("south", BY_ID, proved) == {"south.off", "south.take", "south.hear"}
    assert saved("south", BY_ID, proved[:3]) == set()


def test_what_is_set_on_a_device() -> None:
    """Its proved steps that set a value; saves and confirms set none."""
    proved = ["south.hear", "south.off", "south.save", "north.take"]
    assert names(values_set("south", BY_ID, proved)) == ["south.off", "south.hear"]


def test_what_a_step_is_about_is_for_its_own_look() -> None:
    """On again is lost to a renumber, and no matter to an enable that may have landed."""
    assert names(lost(TAKE, (OFF,), shows(411, enabled=True))) == ["south.off"]
    assert lost(TAKE, (OFF,), shows(311)) == ()
    assert lost(ON, (OFF, TAKE), shows(311, enabled=True)) == ()
    assert names(lost(ON, (OFF, TAKE), shows(411))) == ["south.off", "south.take"]


def test_a_source_that_is_on_again_is_not_renumbered() -> None:
    """A power cycle between the two switched it on: nothing is written."""
    at = AT[SOUTH]
    talking = Dialogue(Run(Sequence(steps=STEPS[:2]), EXPECTS))
    talking.play(
        store("intended south.off"),
        (f"read south.off at {at}", shows(411)),
        store("proved south.off already + intended south.take"),
        (f"read south.take at {at}", shows(411, enabled=True)),
        store("failed south.take other_hand unsure"),
        store("failed south.off not_done unsure + paused"),
    )
    assert "south/one is on, not off as this run had set it" in (talking.run.paused or "")


def test_other_devices_are_not_kept_by_it() -> None:
    """A save keeps what is in its own device."""
    assert unsaved(SAVE, BY_ID, ["north.take"]) == ()


def test_nothing_is_lost_while_all_is_as_set() -> None:
    """The latest value of each thing counts: off and on again is on."""
    assert lost(SAVE, (OFF, TAKE, HEAR), shows(311)) == ()
    assert lost(SAVE, (OFF, TAKE, HEAR, ON), shows(311, enabled=True)) == ()


def test_what_was_set_again_since_is_as_that_left_it() -> None:
    """A pointer that left 411 rests on the source that left it, too; which has gone on since."""
    on = replace(TAKE, id="south.on-again", as_found=number(311), wanted=number(511), order=3)
    assert lost(HEAR, (TAKE,), shows(511), (TAKE, on)) == ()
    assert names(lost(HEAR, (TAKE,), shows(411), (TAKE, on))) == ["south.take", "south.on-again"]


def test_what_goes_in_one_request_with_a_step_may_be_there_or_not_yet() -> None:
    """Of one request, one part can be seen before the other; what it left is no third value."""
    mate = replace(TAKE, id="south.mate", as_found=number(311), wanted=number(511), order=3)
    seen = [lost(HEAR, (TAKE,), shows(figure), (TAKE,), (mate,)) for figure in (311, 511, 411)]
    assert [names(each) for each in seen] == [[], [], ["south.take"]]


def test_a_lost_number_brings_its_switch_with_it() -> None:
    """A source is renumbered only while it is off, so both are done again; all else alone is."""
    held = (OFF, TAKE, HEAR, ON)
    assert names(lost(SAVE, held, shows(411, enabled=True))) == [
        "south.off",
        "south.take",
        "south.on",
    ]
    assert names(lost(SAVE, held, shows(311, enabled=True, hears=411))) == ["south.hear"]
    assert names(lost(SAVE, held, shows(311, enabled=False))) == ["south.off", "south.on"]


def test_a_device_that_lost_its_power_is_not_saved() -> None:
    """Nothing that waits for the save starts; a resume does again what was lost, in order."""
    at = AT[SOUTH]
    sequence = Sequence(steps=STEPS[:4] + STEPS[6:])
    talking = Dialogue(Run(sequence, EXPECTS))
    talking.play(
        store("intended south.off"),
        (f"read south.off at {at}", shows(411, enabled=True, hears=411)),
        (f"write south.off at {at}", Accepted()),
        (f"read south.off at {at}", shows(411, hears=411)),
        store("sent south.off known + proved south.off + intended south.take"),
        (f"read south.take at {at}", shows(411, hears=411)),
        (f"write south.take at {at}", Accepted()),
        (f"read south.take at {at}", shows(311, hears=411)),
        store("sent south.take known + proved south.take + intended south.hear"),
        (f"read south.hear at {at}", shows(311, hears=411)),
        (f"write south.hear at {at}", Accepted()),
        (f"read south.hear at {at}", shows(311)),
        store("sent south.hear known + proved south.hear + intended south.save"),
        (f"read south.save at {at}", shows(411, enabled=True)),
        store("failed south.save other_hand unsure"),
        store("failed south.off not_done unsure + failed south.take not_done unsure + paused"),
    )
    assert "south/one is 411" in (talking.run.paused or "")
    again = Dialogue(Run(sequence, EXPECTS, talking.events))
    again.play(
        store("resumed"),
        store("intended south.off"),
        *looked_at(f"south.off at {at}", shows(411, enabled=True), UNTIL_LATE),
        (f"write south.off at {at}", Unsure("dropped")),
    )


def test_lost_between_save_and_read_back() -> None:
    """A power cycle that comes before the save, though after the look, is seen afterwards."""
    at = AT[SOUTH]
    sequence = Sequence(steps=(replace(HEAR, order=0), replace(SAVE, after=("south.hear",))))
    talking = Dialogue(Run(sequence, EXPECTS))
    talking.play(
        store("intended south.hear"),
        (f"read south.hear at {at}", shows(311)),
        store("proved south.hear already + intended south.save"),
        (f"read south.save at {at}", shows(311)),
        (f"write south.save at {at}", Accepted()),
        (f"read south.save at {at}", shows(311, hears=411)),
        store("sent south.save known + failed south.save other_hand unsure"),
        store("failed south.hear not_done unsure + paused"),
    )


BENCH, JOINED = (AddressValue("main", at, 24) for at in (AT[SOUTH], "10.44.3.99"))
MOVE = step("south.move", StepKind.READDRESS, BENCH, JOINED)
THERE = step("south.there", StepKind.CONFIRM, BENCH, JOINED, "south.move", at="10.44.3.99")
KEPT = step("south.kept", StepKind.SAVE, None, None, "south.there", at="10.44.3.99")


def test_a_device_that_went_back_to_its_old_address() -> None:
    """It is not there to be saved: at a resume it is looked for at both, and moved again."""
    there, kept = replace(THERE, order=1), replace(KEPT, order=2)
    sequence = Sequence(steps=(MOVE, there, kept))
    old, new = f"at {AT[SOUTH]}", "at 10.44.3.99"
    events: list[Event] = [
        *(Intended("south.move"), Proved("south.move")),
        *(Intended("south.there"), Proved("south.there"), Resumed()),
    ]
    talking = Dialogue(Run(sequence, EXPECTS, events))
    talking.play(
        store("intended south.kept"),
        (f"read south.kept {new}", state_of(SOUTH, address=JOINED)),
        (f"write south.kept {new}", Unsure("dropped")),
        store("sent south.kept unknown"),
        *looked_at(f"south.kept {new}", Nobody(), UNTIL_HOPELESS),
        store("failed south.kept unknown unsure"),
        store("failed south.move not_done unsure + failed south.there not_done unsure + paused"),
    )
    again = Dialogue(Run(sequence, EXPECTS, [*events, *talking.events]))
    again.play(
        store("resumed"),
        store("intended south.move"),
        (f"read south.move {old}", Nobody()),
        (f"read south.move {new}", state_of(SOUTH, address=JOINED)),
        store("proved south.move"),
        store("intended south.there"),
        (f"read south.there {new}", state_of(SOUTH, address=JOINED)),
        store("proved south.there"),
        store("intended south.kept"),
        (f"read south.kept {new}", state_of(SOUTH, address=JOINED, unsaved=False)),
        store("proved south.kept"),
        store("finished"),
    )
    assert moves((OFF, TAKE), BY_ID) == ()


OWN = tuple(each for each in STEPS if each.device == SOUTH)


def standings(**stand: Standing) -> dict[str, Standing]:
    """South's steps proved, but for those given."""
    own = {each.id: Standing.PROVED for each in OWN}
    return own | {f"south.{name}": standing for name, standing in stand.items()}


def test_what_was_done_since_makes_a_step_needless() -> None:
    """Switched on again later: its switch, and its number, once they are there."""
    again = standings(off=Standing.INTENDED, take=Standing.INTENDED, on=Standing.INTENDED)
    later = overtaken_by(BY_ID["south.off"], OWN, again)
    assert names(later) == ["south.take", "south.on"]
    assert overtaken(later, shows(311, enabled=True))
    assert not overtaken(later, shows(411, enabled=True))  # on with its old number: off first
    assert not overtaken(later, shows(311))
    assert names(overtaken_by(BY_ID["south.take"], OWN, again)) == []
    assert not overtaken((), shows(311))


def test_a_step_is_done_again_for_what_is_left_to_do_in_between() -> None:
    """That may need the source off, or the number lent; or nothing was done since."""
    again = standings(off=Standing.INTENDED, save=Standing.INTENDED, on=Standing.INTENDED)
    assert overtaken_by(BY_ID["south.off"], OWN, again) == ()
    first = standings(off=Standing.INTENDED, on=Standing.OPEN)
    assert overtaken_by(BY_ID["south.off"], OWN, first) == ()
    assert overtaken_by(BY_ID["south.save"], OWN, standings(save=Standing.INTENDED)) == ()


def test_what_need_not_come_before_may_still_be_to_do() -> None:
    """A pointer that another hand has turned is no reason to renumber by way of transit again."""
    off = standings(off=Standing.INTENDED, on=Standing.INTENDED, hear=Standing.FAILED)
    on = replace(BY_ID["south.on"], after=("south.off",))
    own = tuple(on if each.id == on.id else each for each in OWN)
    assert names(overtaken_by(BY_ID["south.off"], own, off)) == ["south.take", "south.on"]
    on = replace(on, after=("south.off", "south.hear"))
    own = tuple(on if each.id == on.id else each for each in OWN)
    assert overtaken_by(BY_ID["south.off"], own, off) == ()


LEND = step("south.lend", StepKind.RENUMBER, number(411), number(2990), order=0)
BACK = step("south.back", StepKind.RENUMBER, number(2990), number(311), "south.lend", order=1)


def test_a_number_put_right_by_hand_does_not_go_by_way_of_transit_again() -> None:
    """Another hand's number was found; once it is as the run left it, the run goes on."""
    at, sequence = AT[SOUTH], Sequence(steps=(LEND, BACK))
    lost_both = [Failed(name, Failure.NOT_DONE, "952", unsure=True) for name in (LEND.id, BACK.id)]
    done = [event for name in (LEND.id, BACK.id) for event in (Intended(name), Proved(name))]
    again = Dialogue(Run(sequence, EXPECTS, [*done, *lost_both, Paused("952")]))
    again.play(
        store("resumed"),
        store("intended south.lend"),
        *looked_at(f"south.lend at {at}", shows(311), UNTIL_LATE),
        store("proved south.lend"),
        store("intended south.back"),
        (f"read south.back at {at}", shows(311)),
        store("proved south.back"),
        store("finished"),
    )


def test_what_comes_after_what_was_let_go_of_is_done_where_its_source_has_gone_on() -> None:
    """The lent number of one source is let go of, too, when it has the number that it was to get.

    So a pointer that comes after the lending can be told to be there; it never asks for transit.
    """
    at = AT[SOUTH]
    hear = replace(HEAR, after=("south.lend",), order=1)
    sequence = Sequence(steps=(LEND, hear, replace(BACK, order=2)))
    every = (LEND.id, hear.id, BACK.id)
    done = [event for name in every for event in (Intended(name), Proved(name))]
    lost_all = [Failed(name, Failure.NOT_DONE, "948", unsure=True) for name in every]
    again = Dialogue(Run(sequence, EXPECTS, [*done, *lost_all, Paused("948")]))
    again.play(store("resumed"), store("intended south.lend"))
    again.play(
        *looked_at(f"south.lend at {at}", shows(311), UNTIL_LATE),
        store("proved south.lend"),
        store("intended south.hear"),
        (f"read south.hear at {at}", shows(311)),
        store("proved south.hear"),
        store("intended south.back"),
        (f"read south.back at {at}", shows(311)),
        store("proved south.back"),
        store("finished"),
    )


def test_what_may_have_been_set_further_on() -> None:
    """Only what has begun, of what was let go of; no switch, and nothing of its own source."""
    hear = replace(HEAR, after=("south.lend", "south.off"), order=3)
    back, on = replace(BACK, order=4), replace(ON, order=5)
    own, held = (OFF, LEND, hear, back, on), (OFF, LEND)
    begun = standings(back=Standing.INTENDED, on=Standing.INTENDED)
    assert names(onward(hear, held, own, begun)) == ["south.back"]
    assert onward(hear, held, own, standings(back=Standing.OPEN)) == ()
    assert onward(on, held, own, begun) == ()
    home = replace(back, wanted=LEND.as_found)
    assert onward(hear, held, (*own[:3], home), begun) == ()


def test_a_source_put_right_by_hand_does_not_go_off_again_after_its_device_has_moved() -> None:
    """Nor could it: nothing is switched off at the new address for what was done at the old one."""
    new = "10.44.3.99"
    on = replace(ON, at=new, after=("south.there",), order=3)
    steps = (replace(OFF, order=0), replace(MOVE, order=1), replace(THERE, order=2), on)
    done = [event for each in steps for event in (Intended(each.id), Proved(each.id))]
    switch = [Failed(name, Failure.NOT_DONE, "", unsure=True) for name in (OFF.id, ON.id)]
    again = Dialogue(Run(Sequence(steps=steps), EXPECTS, [*done, *switch, Paused("off")]))
    here = state_of(SOUTH, sources={"one": source(311, enabled=True)}, address=JOINED)
    again.play(store("resumed"), store("intended south.off"))
    again.play(
        *looked_at(f"south.off at {new}", here, UNTIL_LATE),
        store("proved south.off"),
        store("intended south.on"),
        (f"read south.on at {new}", here),
        store("proved south.on"),
        store("finished"),
    )


def test_a_number_put_right_by_hand_rests_on_no_switch() -> None:
    """Its source is on with it, as it is to be: it need not be off for a write that is not sent."""
    at, on = AT[SOUTH], replace(ON, after=("south.back",), order=3)
    off, lend, back = (replace(one, order=n) for n, one in enumerate((OFF, LEND, BACK)))
    steps = (off, replace(lend, after=("south.off",)), back, on)
    done = [event for each in steps for event in (Intended(each.id), Proved(each.id))]
    every = [Failed(each.id, Failure.NOT_DONE, "952", unsure=True) for each in steps]
    again = Dialogue(Run(Sequence(steps=steps), EXPECTS, [*done, *every, Paused("952")]))
    right = shows(311, enabled=True)
    again.play(store("resumed"))
    for name in ("south.off", "south.lend"):
        again.play(store(f"intended {name}"), *looked_at(f"{name} at {at}", right, UNTIL_LATE))
        again.play(store(f"proved {name}"))
    for name in ("south.back", "south.on"):
        again.play(
            store(f"intended {name}"), (f"read {name} at {at}", right), store(f"proved {name}")
        )
    again.play(store("finished"))
