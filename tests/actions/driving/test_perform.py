"""Doing one operation: how errors become outcomes."""

import asyncio
from dataclasses import replace

import pytest

from orchestrator import errors
from orchestrator.actions.driving.perform import FAILURES, Deed, Performer
from orchestrator.errors import DeviceError
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Batch, Traits
from orchestrator.running.events import Failure
from orchestrator.running.operations import (
    Accepted,
    Answers,
    Apart,
    Ask,
    Elapsed,
    Nobody,
    Outcome,
    Probe,
    Read,
    ReadFailed,
    Refused,
    Reply,
    Saw,
    Stranger,
    Unsure,
    Vacant,
    Wait,
    Write,
)
from tests.actions.acted import TRAITS, Clock, Net, Person
from tests.running.made_up import AT, BY_ID, NEW, source, state_of

OFF, MOVE = BY_ID["north.off"], BY_ID["fresh.move"]
OTHER = replace(OFF, id="north.label", kind=StepKind.SET, setting="label", wanted="N-PGM-1")
TWO_AT_ONCE = replace(TRAITS, batches=(Batch(frozenset({OFF.kind, OTHER.kind}), 2),))
AT_NORTH = AT["north"]
STATE = state_of("north", sources={"one": source(311, enabled=True)})
KINDS = DeviceError.__subclasses__()


def perform(*operations: Deed, net: Net | None = None) -> list[Outcome]:
    """Do operations one after another on one performer."""
    used = net or Net({AT_NORTH: STATE})

    async def main() -> list[Outcome]:
        performer = Performer(used.open, used.probe, Clock(), Person())
        try:
            return [await performer.perform(operation) for operation in operations]
        finally:
            await performer.close()

    return asyncio.run(main())


def raising(kind: type[DeviceError], what: str) -> Net:
    """A network in which each request called ``what`` raises ``kind``."""
    error = kind(device="north", address=AT_NORTH, doing="testing", said="own words")
    return Net({AT_NORTH: STATE}, fault=lambda doing, _: error if doing == what else None)


def test_every_kind_of_device_error_is_mapped() -> None:
    """A kind of error that is added to the family has to get its failure here."""
    assert set(FAILURES) == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_errors_of_a_read(kind: type[DeviceError]) -> None:
    """Unreachable is nobody, a wrong device a stranger, all else a failed read with its reason."""
    (outcome,) = perform(Read(OFF, AT_NORTH), net=raising(kind, "read"))
    expected = {errors.Unreachable: Nobody, errors.WrongDevice: Stranger}.get(kind, ReadFailed)
    assert type(outcome) is expected
    if isinstance(outcome, ReadFailed):
        assert outcome.why is FAILURES[kind]
    assert "north" in getattr(outcome, "said", "")


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind is not errors.PartlyRefused])
def test_errors_of_a_write(kind: type[DeviceError]) -> None:
    """No answer, or a breakdown, leaves the outcome unknown; all else is surely not done."""
    (outcome,) = perform(Write(OFF, AT_NORTH), net=raising(kind, "write"))
    unsure = kind in (errors.OutcomeUnknown, errors.Broken)
    assert type(outcome) is (Unsure if unsure else Refused)
    if isinstance(outcome, Refused):
        assert outcome.why is FAILURES[kind]


def batched(fault: DeviceError | None, traits: Traits) -> tuple[Outcome, Net]:
    """What comes of two steps in one request to north, and the network afterwards."""
    net = Net({AT_NORTH: STATE}, fault=lambda _what, _device: fault, traits=traits)
    (outcome,) = perform(Write(OFF, AT_NORTH, (OTHER,)), net=net)
    return outcome, net


def test_several_steps_go_in_one_request_where_the_device_takes_that() -> None:
    """One request, and one answer for both."""
    outcome, net = batched(None, TWO_AT_ONCE)
    assert outcome == Accepted()
    assert net.requests == ["write north"]


def test_a_device_may_answer_for_each_step_apart() -> None:
    """What it did not name was accepted; what it broke down over may have been done."""
    errors_told = {OTHER.id: errors.Rejected("north", AT_NORTH, "testing", "no such label")}
    apart = errors.PartlyRefused("north", AT_NORTH, "testing", refused=errors_told)
    outcome, _ = batched(apart, TWO_AT_ONCE)
    assert isinstance(outcome, Apart)
    assert outcome.of[OFF.id] == Accepted()
    told = outcome.of[OTHER.id]
    assert isinstance(told, Refused)
    assert (told.why, "no such label" in told.said) == (Failure.REJECTED, True)


def test_where_it_no_longer_takes_several_they_go_one_by_one() -> None:
    """A work order may be older than the description; after no answer nothing more is sent."""
    outcome, net = batched(None, TRAITS)
    assert outcome == Accepted()
    assert net.requests == ["write north"] * 2
    lost = errors.OutcomeUnknown("north", AT_NORTH, "testing")
    outcome, net = batched(lost, TRAITS)
    assert isinstance(outcome, Unsure)  # of both: reading tells
    assert net.requests == ["write north"]


def test_a_busy_device_says_for_how_long() -> None:
    """Its Retry-After comes with the refusal."""
    busy = errors.Busy(device="north", address=AT_NORTH, doing="testing", retry_after_s=7.0)
    net = Net({AT_NORTH: STATE}, fault=lambda _what, _device: busy)
    read, write = perform(Read(OFF, AT_NORTH), Write(OFF, AT_NORTH), net=net)
    assert isinstance(read, ReadFailed)
    assert isinstance(write, Refused)
    assert (read.retry_after_s, write.retry_after_s) == (7.0, 7.0)


def test_what_goes_well() -> None:
    """Each operation has its answer."""
    net = Net({AT_NORTH: STATE})
    assert perform(
        Read(OFF, AT_NORTH),
        Write(OFF, AT_NORTH),
        Probe(MOVE, NEW),
        Probe(MOVE, AT_NORTH),
        Wait(OFF, 3.0),
        Ask("go:1", ("Go?",)),
        net=net,
    ) == [
        Saw(STATE),
        Accepted(),
        Vacant(),
        Answers("fresh's neighbour"),
        Elapsed(),
        Reply(go=True, by="M. Okafor"),
    ]


def test_one_way_is_kept_to_a_device_at_an_address_and_closed_at_the_end() -> None:
    """Opened once, however often it is used."""
    net = Net({AT_NORTH: STATE})
    perform(Read(OFF, AT_NORTH), Read(OFF, AT_NORTH), Read(OFF, NEW), net=net)
    assert net.opened == [("north", AT_NORTH), ("north", NEW)]
    assert sorted(net.closed) == sorted(net.opened)


def test_a_bug_is_raised() -> None:
    """What is no device's error is nobody's outcome."""
    net = Net({AT_NORTH: STATE}, fault=lambda _what, _device: ZeroDivisionError())
    with pytest.raises(ZeroDivisionError):
        perform(Read(OFF, AT_NORTH), net=net)
    assert net.closed == net.opened


def test_failures_are_told_apart() -> None:
    """No two kinds of device error come to one failure; of several steps, each has its own."""
    of_one = {kind: why for kind, why in FAILURES.items() if kind is not errors.PartlyRefused}
    assert len(set(of_one.values())) == len(of_one)
    assert Failure.UNKNOWN in FAILURES.values()
