"""Where a step's device stands, as far as the run has moved it."""

from dataclasses import replace

from orchestrator.facility.found import DeviceState
from orchestrator.facility.step import Sequence, StepKind
from orchestrator.running.events import Failed, Failure, Intended, Paused, Proved
from orchestrator.running.operations import Accepted, Nobody, Stranger
from orchestrator.running.run import Run
from orchestrator.running.steps.places import moved_since, readdress_of
from tests.running.dialogue import UNTIL_HOPELESS, Dialogue, looked_at, store
from tests.running.made_up import (
    AT,
    BENCH,
    BY_ID,
    EXPECTS,
    FRESH,
    JOINED,
    NEW,
    SEQUENCE,
    number,
    source,
    state_of,
    step,
)

ORDERED = SEQUENCE.steps


def test_a_confirm_knows_its_readdress() -> None:
    """The one that it comes after; no other kind of step has one."""
    assert readdress_of(BY_ID["fresh.there"], BY_ID) == BY_ID["fresh.move"]
    assert readdress_of(BY_ID["fresh.on"], BY_ID) is None


def test_a_step_that_comes_before_a_readdress_is_looked_at_where_its_device_went() -> None:
    """Once that is proved; not the readdress, and not what comes after it."""
    steps = {each.id: each for each in ORDERED}
    assert moved_since(steps["fresh.off"], steps, ["fresh.move"]) == steps["fresh.move"]
    assert moved_since(steps["fresh.off"], steps, ["fresh.clock"]) is None
    assert moved_since(steps["fresh.move"], steps, ["fresh.move"]) is None
    assert moved_since(steps["fresh.on"], steps, ["fresh.move"]) is None
    assert moved_since(steps["north.off"], steps, ["fresh.move"]) is None


TAKE = step("fresh.take", StepKind.RENUMBER, number(1), number(501))
MOVE = replace(BY_ID["fresh.move"], after=("fresh.take",), order=1, phase=0)
THERE = replace(BY_ID["fresh.there"], order=2, phase=0)
ON = replace(BY_ID["fresh.on"], after=("fresh.take", "fresh.there"), order=3, phase=0)
JOIN = Sequence(steps=(TAKE, MOVE, THERE, ON))


def resumed() -> Dialogue:
    """The unit has joined; then its number was seen to be another, and the run was paused."""
    done = (each for name in ("take", "move", "there") for each in _done(f"fresh.{name}"))
    doubt = Failed("fresh.take", Failure.NOT_DONE, "it was 9", unsure=True)
    return Dialogue(Run(JOIN, EXPECTS, (*done, doubt, Paused("9"))))


def _done(name: str) -> tuple[Intended, Proved]:
    return (Intended(name), Proved(name))


def there(figure: int) -> DeviceState:
    """The unit at its new address, off, with a number."""
    return state_of(FRESH, sources={"one": source(figure)}, address=JOINED)


def test_what_was_put_right_by_hand_after_a_move_is_proved_where_the_device_is() -> None:
    """It is not looked for on the bench, where it no longer stands."""
    talking = resumed()
    talking.play(
        store("resumed"),
        store("intended fresh.take"),
        (f"read fresh.take at {NEW}", there(501)),
        ("store proved fresh.take + intended fresh.on", None),
    )


def test_after_a_move_a_number_is_not_written_any_more() -> None:
    """The rule: after a readdress nothing of the device is renumbered. It is said what to do."""
    talking = resumed()
    talking.play(
        store("resumed"),
        store("intended fresh.take"),
        (f"read fresh.take at {NEW}", there(1)),
        store("failed fresh.take other_hand unsure"),
        store("paused"),
    )
    assert "put that right by hand there and resume, or take the run back" in (
        talking.run.paused or ""
    )


def alone(figure: int) -> DeviceState:
    """The unit at its old address, off, with a number."""
    return state_of(FRESH, sources={"one": source(figure)}, address=BENCH)


def test_what_is_not_where_it_was_moved_is_looked_for_where_it_stood() -> None:
    """A power cycle took the move back: resumed, all goes on there, and the move comes again."""
    talking = resumed()
    talking.play(
        store("resumed"),
        store("intended fresh.take"),
        *looked_at(f"fresh.take at {NEW}", Nobody(), UNTIL_HOPELESS),
        (f"read fresh.take at {AT[FRESH]}", alone(501)),
        store("failed fresh.move not_done unsure + failed fresh.take not_done unsure"),
        store("failed fresh.there not_done unsure + paused"),
    )
    assert f"answers at {AT[FRESH]} again, and not at {NEW}" in (talking.run.paused or "")
    again = Dialogue(Run(JOIN, EXPECTS, talking.events))
    again.play(
        store("resumed"),
        store("intended fresh.take"),
        (f"read fresh.take at {AT[FRESH]}", alone(501)),
        store("proved fresh.take"),
        store("intended fresh.move"),
        (f"read fresh.move at {AT[FRESH]}", alone(501)),
    )


def test_what_is_at_neither_address_leaves_its_move_as_it_was() -> None:
    """It may be there again as soon as it has booted, or its cable is in; both are told."""
    talking = resumed()
    talking.play(
        store("resumed"),
        store("intended fresh.take"),
        *looked_at(f"fresh.take at {NEW}", Nobody(), UNTIL_HOPELESS),
        (f"read fresh.take at {AT[FRESH]}", Stranger("S-9")),
        store("failed fresh.take unreachable unsure"),
        store("paused"),
    )
    assert f"does not answer at {NEW}, nor at {AT[FRESH]}" in (talking.run.paused or "")


def test_nothing_is_moved_or_renumbered_while_another_hand_has_it_on() -> None:
    """It was off at the survey, so no step of the run switches it off: the look before must see."""
    on = state_of(FRESH, sources={"one": source(1, enabled=True)}, address=BENCH)
    for made in (TAKE, replace(MOVE, after=())):
        talking = Dialogue(Run(Sequence(steps=(replace(made, order=0),)), EXPECTS))
        talking.play(
            store(f"intended {made.id}"),
            (f"read {made.id} at {AT[FRESH]}", on),
            store(f"failed {made.id} other_hand"),
            store("paused"),
        )
        assert "switched on by another hand" in (talking.run.paused or "")


def test_a_move_waits_until_all_that_was_set_before_it_is_there() -> None:
    """A label that a power cycle took can't be set after the move: it is seen before."""
    label = step("fresh.label", StepKind.SET, "", "New", source="one", setting="label")
    sequence = Sequence(steps=(label, replace(MOVE, after=("fresh.label",))))
    off = state_of(FRESH, sources={"one": source(1)}, address=BENCH)
    named = state_of(FRESH, sources={"one": source(1, label="New")}, address=BENCH)
    talking = Dialogue(Run(sequence, EXPECTS))
    talking.play(
        store("intended fresh.label"),
        (f"read fresh.label at {AT[FRESH]}", off),
        (f"write fresh.label at {AT[FRESH]}", Accepted()),
        (f"read fresh.label at {AT[FRESH]}", named),
        store("sent fresh.label known + proved fresh.label + intended fresh.move"),
        (f"read fresh.move at {AT[FRESH]}", off),
        store("failed fresh.move other_hand unsure"),
        store("failed fresh.label not_done unsure + paused"),
    )
    again = Dialogue(Run(sequence, EXPECTS, talking.events))
    again.play(
        store("resumed"),
        store("intended fresh.label"),
        (f"read fresh.label at {AT[FRESH]}", named),
        store("proved fresh.label"),
        store("intended fresh.move"),
    )
