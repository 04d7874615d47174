"""What the ledger stores comes back exactly."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.errors import LedgerError
from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Phase,
    Sequence,
    Step,
    StepKind,
    StepValue,
)
from orchestrator.ledger import codec
from orchestrator.running import events as ev
from orchestrator.running.record import RunRecord

TEXT = st.text(max_size=8)
NAMES = st.text("abcdefgh-123", min_size=1, max_size=8)
NUMBERS = st.none() | st.integers()
SETTINGS = st.booleans() | st.integers() | st.floats(allow_nan=False) | TEXT
VALUES: st.SearchStrategy[StepValue] = st.one_of(
    st.none(),
    SETTINGS,
    st.builds(Assigned, NUMBERS, st.lists(st.none() | TEXT, max_size=2).map(tuple)),
    st.builds(Hearing, NUMBERS, st.none() | TEXT),
    st.builds(AddressValue, TEXT, TEXT, st.integers(0, 32), st.none() | TEXT),
)
TEXTS = st.lists(TEXT, max_size=2).map(tuple)
STEPS = st.builds(
    Step,
    id=NAMES,
    kind=st.sampled_from(StepKind),
    device=NAMES,
    at=TEXT,
    as_found=VALUES,
    wanted=VALUES,
    source=st.none() | TEXT,
    destination=st.none() | TEXT,
    setting=st.none() | TEXT,
    after=TEXTS,
    why=TEXTS,
    phase=st.integers(0, 3),
    order=st.integers(0, 300),
    estimate_s=st.floats(0, 1e6),
)
STATES = st.builds(
    DeviceState,
    identity=st.builds(Identity, serial=TEXT, model=TEXT, firmware=TEXT),
    interfaces=st.dictionaries(
        NAMES,
        st.builds(
            InterfaceState, address=TEXT, prefix=st.integers(0, 32), gateway=st.none() | TEXT
        ),
        max_size=2,
    ),
    sources=st.dictionaries(
        NAMES,
        st.builds(
            SourceState,
            number=NUMBERS,
            groups=st.lists(st.none() | TEXT, max_size=2).map(tuple),
            label=TEXT,
            enabled=st.booleans(),
        ),
        max_size=2,
    ),
    destinations=st.dictionaries(
        NAMES, st.builds(DestinationState, hears=NUMBERS | TEXT, label=TEXT), max_size=2
    ),
    settings=st.dictionaries(NAMES, SETTINGS, max_size=2),
    unsaved=st.none() | st.booleans(),
)
FOUNDS = st.builds(Found, at=TEXT, state=STATES, response_s=st.floats(0, 100))
RECORDS = st.builds(
    RunRecord,
    id=NAMES,
    facility=TEXT,
    title=TEXT,
    made_at=TEXT,
    digest=TEXT,
    sequence=st.builds(
        Sequence,
        steps=st.lists(STEPS, max_size=3).map(tuple),
        phases=st.lists(st.builds(Phase, TEXTS, TEXTS), max_size=2).map(tuple),
        width=st.integers(1, 64),
    ),
    expects=st.dictionaries(NAMES, st.builds(Identity, serial=TEXT, model=TEXT), max_size=2),
    before=st.dictionaries(NAMES, FOUNDS, max_size=2),
    hazards=st.lists(st.from_type(Hazard), max_size=2).map(tuple),
    mended=st.dictionaries(TEXT, TEXTS, max_size=2),
    undoes=st.none() | TEXT,
)
EVENTS: st.SearchStrategy[ev.Event] = st.one_of(
    st.builds(ev.Intended, TEXT),
    st.builds(ev.Sent, TEXT, st.booleans(), TEXT),
    st.builds(ev.Proved, TEXT, st.booleans()),
    st.builds(ev.Failed, TEXT, st.sampled_from(ev.Failure), TEXT, st.booleans()),
    st.builds(ev.Asked, TEXT),
    st.builds(ev.Answered, TEXT, st.booleans(), TEXT),
    st.builds(ev.Paused, TEXT),
    st.builds(ev.Resumed),
    st.builds(ev.Finished),
)
BARE = Step(id="s1", kind=StepKind.SET, device="d", at="127.44.3.31", as_found=None, wanted=None)
RECORD = RunRecord(
    id="2026-11-25-1",
    facility="Tern Point Radio",
    title="Studio North",
    made_at="2026-11-25T02:00:00+00:00",
    digest="d",
    sequence=Sequence(steps=(BARE,)),
    expects={},
    before={},
)


@given(RECORDS)
def test_a_record_comes_back_equal(record: RunRecord) -> None:
    """A run's record is the same after a trip through JSON."""
    assert codec.load_record(codec.dump_record(record), "r") == record


@given(EVENTS)
def test_an_event_comes_back_equal_and_of_its_kind(event: ev.Event) -> None:
    """An event is the same value of the same class after a trip through JSON."""
    back = codec.load_event(codec.dump_event(event), "e")
    assert back == event
    assert type(back) is type(event)


@given(VALUES)
def test_a_step_value_keeps_its_type(value: StepValue) -> None:
    """True does not become 1, 1 not 1.0, and what a source holds not what a destination hears."""
    record = replace(RECORD, sequence=Sequence(steps=(replace(BARE, wanted=value),)))
    back = codec.load_record(codec.dump_record(record), "r").sequence.steps[0].wanted
    assert back == value
    assert type(back) is type(value)


@given(FOUNDS)
def test_a_device_state_comes_back_equal(found: Found) -> None:
    """A device's state of before is the same after a trip through JSON."""
    assert codec.load_found(codec.dump_found(found), "f") == found


def test_half_a_surrogate_pair_is_kept_as_its_escape() -> None:
    """A device's words that are no Unicode are stored all the same."""
    event = ev.Failed("s1", ev.Failure.REJECTED, "bad \ud800 name")
    back = codec.load_event(codec.dump_event(event), "e")
    assert isinstance(back, ev.Failed)
    assert back.said == "bad \\ud800 name"


def test_the_text_is_json_with_the_documented_keys() -> None:
    """Another program can read a step's values by the keys that the docstring names."""
    record = replace(
        RECORD,
        sequence=Sequence(
            steps=(replace(BARE, as_found=Assigned(311, ("239.194.1.55:5004",)), wanted=True),)
        ),
    )
    step = json.loads(codec.dump_record(record))["sequence"]["steps"][0]
    assert step["as_found"] == {"number": 311, "groups": ["239.194.1.55:5004"]}
    assert step["wanted"] is True


@pytest.mark.parametrize("text", ["", "{", "{}", '{"kind":"invented"}', "[]", "null"])
def test_what_is_no_event_is_refused_with_its_name(text: str) -> None:
    """Text that is no event raises a LedgerError that names which one it was."""
    with pytest.raises(LedgerError) as caught:
        codec.load_event(text, "event 4 of run x")
    assert "event 4 of run x" in caught.value.what
    assert caught.value.fix


def test_what_is_no_record_or_state_is_refused() -> None:
    """A record or a state that makes no sense raises a LedgerError, not a pydantic error."""
    with pytest.raises(LedgerError):
        codec.load_record("{}", "run x")
    with pytest.raises(LedgerError):
        codec.load_found("{}", "north-engine in run x")
