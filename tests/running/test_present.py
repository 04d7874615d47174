"""The devices' present state is the state of before with the proved steps put in."""

from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Sequence,
    Step,
    StepKind,
    StepValue,
)
from orchestrator.running.events import Failed, Failure, Intended, Proved, Sent
from orchestrator.running.present import proved_steps, put, state_now
from orchestrator.running.record import RunRecord

STATE = DeviceState(
    identity=Identity(serial="CV-20931", model="CE-40"),
    interfaces={"main": InterfaceState(address="127.44.3.31", prefix=24)},
    sources={
        "program-1": SourceState(
            number=311, groups=("239.194.1.55:5004",), label="N-PGM-1", enabled=True
        )
    },
    destinations={"codec-1": DestinationState(hears=512, label="COD")},
    settings={"ptp_domain": 0},
)


def step(
    kind: StepKind,
    wanted: StepValue,
    *,
    source: str | None = None,
    destination: str | None = None,
    setting: str | None = None,
) -> Step:
    """A step of the one device."""
    return Step(
        id="s1",
        kind=kind,
        device="north-engine",
        at="127.44.3.31",
        as_found=None,
        wanted=wanted,
        source=source,
        destination=destination,
        setting=setting,
    )


def done(what: Step) -> DeviceState:
    """The state with the step's wanted value put in."""
    return put(STATE, what, what.wanted)


def test_a_source_is_switched_numbered_and_labelled() -> None:
    """Each step of a source alters its own value and no other."""
    off = done(step(StepKind.DISABLE, False, source="program-1")).sources["program-1"]
    assert (off.enabled, off.number, off.label) == (False, 311, "N-PGM-1")
    moved = done(step(StepKind.RENUMBER, Assigned(312, ("239.194.1.56:5004",)), source="program-1"))
    assert moved.sources["program-1"].number == 312
    assert moved.sources["program-1"].groups == ("239.194.1.56:5004",)
    label = done(step(StepKind.SET, "NEW", source="program-1", setting="label"))
    assert label.sources["program-1"].label == "NEW"
    assert label.sources["program-1"].enabled


def test_a_number_without_groups_leaves_the_groups() -> None:
    """Where a step does not speak of groups, those found stay."""
    moved = done(step(StepKind.RENUMBER, Assigned(312), source="program-1")).sources["program-1"]
    assert moved.groups == ("239.194.1.55:5004",)


def test_a_destination_is_pointed_at_a_number_a_group_or_nothing() -> None:
    """A destination hears what the step says."""
    for hearing, hears in (
        (Hearing(311), 311),
        (Hearing(group="239.194.1.55:5004"), "239.194.1.55:5004"),
        (Hearing(), None),
    ):
        state = done(step(StepKind.REPOINT, hearing, destination="codec-1"))
        assert state.destinations["codec-1"] == DestinationState(hears=hears, label="COD")


def test_a_device_is_readdressed_and_set() -> None:
    """An address goes to its interface, a setting to its name."""
    state = done(step(StepKind.READDRESS, AddressValue("main", "127.44.3.32", 24, "127.44.3.254")))
    assert state.interfaces["main"] == InterfaceState(
        address="127.44.3.32", prefix=24, gateway="127.44.3.254"
    )
    assert done(step(StepKind.SET, 127, setting="ptp_domain")).settings == {"ptp_domain": 127}


def test_saves_confirms_and_acts_by_hand_set_nothing() -> None:
    """Steps that write no value leave the state as it is."""
    there = AddressValue("main", "127.44.3.32", 24)
    assert done(step(StepKind.SAVE, None)) is STATE
    assert done(step(StepKind.CONFIRM, there)) is STATE
    assert done(step(StepKind.BY_HAND, "moved", setting="cable")) is STATE


def test_only_proved_steps_are_put_in() -> None:
    """Intended, sent and failed steps change nothing until they are proved."""
    off = step(StepKind.DISABLE, False, source="program-1")
    record = RunRecord(
        id="r",
        facility="f",
        title="t",
        made_at="2026-11-25T02:00:00+00:00",
        digest="d",
        sequence=Sequence(steps=(off,)),
        expects={},
        before={"north-engine": Found(at="127.44.3.31", state=STATE, response_s=0.1)},
    )
    open_events = (Intended("s1"), Sent("s1", True), Failed("s1", Failure.BUSY, ""))
    assert state_now(record, open_events) == {"north-engine": STATE}
    now = state_now(record, (*open_events, Proved("s1")))
    assert not now["north-engine"].sources["program-1"].enabled


def test_proved_steps_stand_in_the_order_of_their_proof() -> None:
    """A step that failed after it was proved (a readdress, at its confirm) stands no more."""
    events = (Proved("b"), Proved("a"), Proved("c"), Failed("b", Failure.NOT_DONE, ""))
    assert proved_steps(events) == ("a", "c")
    assert proved_steps((*events, Intended("b"), Proved("b"))) == ("a", "c", "b")
