"""What events come to: steps, doubts, the run, and who is silent."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.step import Assigned, Hearing, Sequence, Step, StepKind, StepValue
from orchestrator.running.events import (
    Agreed,
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
from orchestrator.running.record import RunRecord
from orchestrator.running.terms import AfterFailure, Terms
from orchestrator.running.view import (
    RunState,
    StepState,
    failures,
    found_so,
    hearing,
    in_doubt,
    run_lines,
    run_state,
    silent_now,
    step_states,
    terms_now,
)


def device(address: str, sources: dict[str, int], destinations: dict[str, int]) -> Found:
    """A device on 127.44.3.0/24, all sources on."""
    return Found(
        at=address,
        response_s=0.1,
        state=DeviceState(
            identity=Identity(serial=address, model="CE-40"),
            interfaces={"main": InterfaceState(address=address, prefix=24)},
            sources={
                name: SourceState(number=number, groups=(None,), label="", enabled=True)
                for name, number in sources.items()
            },
            destinations={name: DestinationState(hears=n) for name, n in destinations.items()},
        ),
    )


def step(name: str, kind: StepKind, *, after: tuple[str, ...] = ()) -> Step:
    """A step about north/program-1, or about south/codec-1 for a repoint."""
    values: dict[StepKind, tuple[StepValue, StepValue]] = {
        StepKind.DISABLE: (True, False),
        StepKind.RENUMBER: (Assigned(311), Assigned(312)),
        StepKind.REPOINT: (Hearing(311), Hearing(312)),
        StepKind.ENABLE: (False, True),
    }
    as_found, wanted = values[kind]
    repoint = kind is StepKind.REPOINT
    return Step(
        id=name,
        kind=kind,
        device="south" if repoint else "north",
        at="127.44.3.32" if repoint else "127.44.3.31",
        source=None if repoint else "program-1",
        destination="codec-1" if repoint else None,
        as_found=as_found,
        wanted=wanted,
        after=after,
    )


STEPS = (
    step("off", StepKind.DISABLE),
    step("number", StepKind.RENUMBER, after=("off",)),
    step("point", StepKind.REPOINT, after=("number",)),
    step("on", StepKind.ENABLE, after=("point",)),
)
RECORD = RunRecord(
    id="r1",
    facility="Tern Point Radio",
    title="t",
    made_at="2026-11-25T02:00:00+00:00",
    digest="d",
    sequence=Sequence(steps=STEPS),
    expects={},
    before={
        "north": device("127.44.3.31", {"program-1": 311, "program-2": 313}, {}),
        "south": device("127.44.3.32", {}, {"codec-1": 311, "codec-2": 313}),
    },
)


def proved(*names: str) -> tuple[Event, ...]:
    """Intent and proof of each step."""
    return tuple(event for name in names for event in (Intended(name), Proved(name)))


@pytest.mark.parametrize(
    ("events", "state"),
    [
        ((), StepState.WAITING),
        ((Intended("off"),), StepState.INTENDED),
        ((Intended("off"), Sent("off", True)), StepState.SENT),
        ((Intended("off"), Sent("off", False)), StepState.UNSURE),
        ((Intended("off"), Sent("off", False), Proved("off")), StepState.PROVED),
        ((Intended("off"), Failed("off", Failure.BUSY, "")), StepState.FAILED),
        ((Failed("off", Failure.BUSY, ""), Resumed(), Intended("off")), StepState.INTENDED),
    ],
)
def test_the_last_event_of_a_step_says_where_it_stands(
    events: tuple[Event, ...], state: StepState
) -> None:
    """A step stands where its last event left it; the others wait."""
    states = step_states(RECORD, events)
    assert states["off"] is state
    assert states["number"] is StepState.WAITING
    assert list(states) == ["off", "number", "point", "on"]


UNSURE = (Intended("off"), Sent("off", False))


@pytest.mark.parametrize(
    ("events", "doubtful"),
    [
        ((), False),
        ((Intended("off"),), True),
        ((Intended("off"), Sent("off", True)), True),
        (UNSURE, True),
        ((*UNSURE, Proved("off")), False),
        ((Intended("off"), Failed("off", Failure.REJECTED, "no")), False),
        ((*UNSURE, Failed("off", Failure.UNKNOWN, "", unsure=True)), True),
        ((*UNSURE, Failed("off", Failure.NOT_DONE, "")), False),
        # A later attempt that never reached the device can't take the doubt away ...
        (
            (
                *UNSURE,
                Failed("off", Failure.UNKNOWN, "", unsure=True),
                Resumed(),
                Intended("off"),
                Failed("off", Failure.UNREACHABLE, ""),
            ),
            True,
        ),
        # ... nor can one after a process that died between intent and outcome.
        ((Intended("off"), Resumed(), Failed("off", Failure.UNREACHABLE, "")), True),
        ((Intended("off"), Intended("off"), Failed("off", Failure.UNREACHABLE, "")), True),
    ],
)
def test_a_step_is_in_doubt_until_a_reading_settles_it(
    events: tuple[Event, ...], *, doubtful: bool
) -> None:
    """Whatever may have been sent stays in doubt until it is read back."""
    assert in_doubt(RECORD, events) == (frozenset({"off"}) if doubtful else frozenset())


def test_a_confirm_is_never_in_doubt() -> None:
    """A step that only reads leaves nothing open."""
    confirm = replace(STEPS[0], kind=StepKind.CONFIRM)
    record = replace(RECORD, sequence=Sequence(steps=(confirm,)))
    assert in_doubt(record, UNSURE) == frozenset()


def test_found_so_is_only_what_the_run_surely_did_not_write() -> None:
    """Found as wanted counts as not written unless an earlier attempt may have landed."""
    already = Proved("off", already=True)
    assert found_so(RECORD, (Intended("off"), already)) == {"off"}
    assert found_so(RECORD, (Intended("off"), Proved("off"))) == frozenset()
    assert found_so(RECORD, (*UNSURE, already)) == frozenset()
    assert found_so(RECORD, (Intended("off"), Resumed(), Intended("off"), already)) == frozenset()


def test_failures_name_what_stands_failed() -> None:
    """A failure stands until the step is tried again."""
    failed = Failed("off", Failure.BUSY, "locked")
    assert failures((Intended("off"), failed)) == {"off": failed}
    assert failures((failed, Resumed(), Intended("off"))) == {}


@pytest.mark.parametrize(
    ("events", "state"),
    [
        ((), RunState.RUNNING),
        ((Paused("why"),), RunState.PAUSED),
        ((Paused("why"), Resumed()), RunState.RUNNING),
        ((Finished(),), RunState.FINISHED),
    ],
)
def test_a_run_stands_where_its_events_left_it(events: tuple[Event, ...], state: RunState) -> None:
    """Pausing, resuming and finishing follow one another."""
    assert run_state(RECORD, events) is state


def test_a_run_without_steps_is_finished() -> None:
    """Nothing to do is done."""
    assert run_state(replace(RECORD, sequence=Sequence(steps=())), ()) is RunState.FINISHED


def test_a_run_is_undone_by_a_finished_run_that_takes_it_back() -> None:
    """While the undoing run is open, the first is being undone; undoing an undo frees it again."""
    first = (RECORD, (Finished(),))
    second = replace(RECORD, id="r2", undoes="r1")
    third = replace(RECORD, id="r3", undoes="r2")
    going = run_lines([first, (second, (Paused("x"),))])
    assert [line.state for line in going] == [RunState.UNDOING, RunState.PAUSED]
    assert going[0].unfinished
    assert going[0].taken_back_by == "r2"
    done = run_lines([first, (second, (Finished(),))])
    assert [line.state for line in done] == [RunState.UNDONE, RunState.FINISHED]
    assert not any(line.unfinished for line in done)
    again = run_lines([first, (second, (Finished(),)), (third, (Finished(),))])
    assert [line.state for line in again] == [
        RunState.FINISHED,
        RunState.UNDONE,
        RunState.FINISHED,
    ]


def test_nobody_is_silent_before_the_first_write_and_after_the_last() -> None:
    """A run that did nothing, or all, leaves nobody silent."""
    assert silent_now(RECORD, ()) == ()
    assert silent_now(RECORD, proved("off", "number", "point", "on")) == ()


def test_a_source_switched_off_is_silent_with_those_that_heard_it() -> None:
    """The silent source is named with the destination that heard it, surely."""
    (silent,) = silent_now(RECORD, proved("off"))
    assert silent.subject == "north/program-1"
    assert silent.heard_by == ("south/codec-1",)
    assert silent.sure
    assert not silent.for_good


def test_a_switch_in_doubt_makes_the_silence_unsure() -> None:
    """While nobody knows whether the source went off (or came back), it may be silent."""
    assert [entry.sure for entry in silent_now(RECORD, UNSURE)] == [False]
    back = (*proved("off", "number", "point"), Intended("on"))
    assert [entry.sure for entry in silent_now(RECORD, back)] == [False]


def test_a_source_switched_off_for_good_is_marked() -> None:
    """Where the sequence does not bring the source back, that is said."""
    record = replace(RECORD, sequence=Sequence(steps=STEPS[:1]))
    assert [entry.for_good for entry in silent_now(record, proved("off"))] == [True]


def test_a_destination_pointed_away_from_what_it_heard_is_silent() -> None:
    """A destination that hears nothing, while its source plays on, is named itself."""
    (silent,) = silent_now(RECORD, (Proved("point"),))
    assert silent.subject == "south/codec-1"
    assert silent.destination == "codec-1"


def test_a_source_that_was_off_before_is_not_silenced() -> None:
    """What nobody heard before the run is not silent because of it."""
    found = RECORD.before["north"]
    off = replace(found.state.sources["program-1"], enabled=False)
    state = replace(found.state, sources={"program-1": off})
    record = replace(RECORD, before={**RECORD.before, "north": replace(found, state=state)})
    assert silent_now(record, proved("off")) == ()


def test_a_number_on_another_network_is_another_source() -> None:
    """A destination does not hear a source of the same number on a network it is not on."""
    bench = device("127.0.2.50", {"program-1": 311}, {})
    south = RECORD.before["south"]
    heard = hearing({"bench": bench.state, "south": south.state})
    assert heard["south/codec-1"] == frozenset()


KINDS = st.sampled_from(
    [
        Intended("off"),
        Sent("off", True),
        Sent("off", False),
        Proved("off"),
        Proved("off", already=True),
        Failed("off", Failure.NOT_DONE, ""),
        Failed("off", Failure.UNKNOWN, "", unsure=True),
        Paused("x"),
        Resumed(),
    ]
)


@given(st.lists(KINDS, max_size=8))
def test_a_step_is_never_in_doubt_and_settled_at_once(events: list[Event]) -> None:
    """Whatever the events: proved is not doubtful, waiting is not doubtful, unsure is."""
    state = step_states(RECORD, events)["off"]
    doubt = "off" in in_doubt(RECORD, events)
    if state in {StepState.PROVED, StepState.WAITING}:
        assert not doubt
    if state in {StepState.INTENDED, StepState.SENT, StepState.UNSURE}:
        assert doubt


def test_the_terms_given_last_are_those_on_which_a_run_goes_on() -> None:
    """At a resume; before, those on which it was agreed to."""
    first, last = Terms(soak_s=1), Terms(after_failure=AfterFailure.HOLD_ALL)
    assert terms_now(RECORD, [Resumed()]) == RECORD.terms
    assert terms_now(RECORD, [Agreed(first), Resumed(), Agreed(last), Resumed()]) == last
