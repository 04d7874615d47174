"""Work orders come back as they were written, or not at all."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from orchestrator.documents.work_order import (
    SCHEMA,
    WorkOrder,
    read_work_order,
    write_work_order,
)
from orchestrator.errors import CallError, DocumentError
from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.hazard import Grade, Hazard
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
from orchestrator.planning.digest import digest

texts = st.text(max_size=12)
numbers = st.none() | st.integers(0, 70000)
groups = st.none() | st.sampled_from(["239.194.1.55:5004", "239.194.1.56:5004", ""])
settings_values = (
    st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | texts
)
values: st.SearchStrategy[StepValue] = st.one_of(
    st.none(),
    settings_values,
    st.builds(Assigned, numbers, st.lists(groups, max_size=2).map(tuple)),
    st.builds(AddressValue, texts, texts, st.integers(0, 32), st.none() | texts),
    st.builds(Hearing, numbers, groups),
)
steps = st.builds(
    Step,
    id=texts,
    kind=st.sampled_from(StepKind),
    device=texts,
    at=texts,
    as_found=values,
    wanted=values,
    source=st.none() | texts,
    setting=st.none() | texts,
    after=st.lists(texts, max_size=2).map(tuple),
    estimate_s=st.floats(0, 1e6),
)
sequences = st.builds(
    Sequence,
    steps=st.lists(steps, max_size=4).map(tuple),
    phases=st.lists(st.builds(Phase, st.tuples(texts)), max_size=2).map(tuple),
    width=st.integers(1, 64),
)


def order_of(sequence: Sequence) -> WorkOrder:
    """A work order around ``sequence``."""
    state = DeviceState(
        identity=Identity(serial="CV-1", model="CE-40"),
        interfaces={"main": InterfaceState(address="127.44.3.31", prefix=24)},
        sources={
            "a": SourceState(number=311, groups=("239.194.1.55:5004",), label="A", enabled=True)
        },
        destinations={"b": DestinationState(hears=512), "c": DestinationState(hears="512")},
        settings={"whole": 1, "real": 1.0, "flag": True, "text": "1"},
    )
    return WorkOrder(
        facility="Tern Point Radio",
        title="North",
        made_at="2026-03-01T02:00:00+00:00",
        digest=digest(sequence),
        sequence=sequence,
        expects={"north-engine": state.identity},
        before={"north-engine": Found(at="127.44.3.31", state=state, response_s=0.02)},
        hazards=(
            Hazard(name="h", rule="H6", grade=Grade.NEEDS_NAME, what="w", accepted="calm night"),
        ),
        mended={"number 415 on media": ("a/b", "c/d")},
    )


def exact(value: object) -> str:
    """A value with the kind of everything in it: 1, 1.0 and True are equal, and differ here."""
    return repr(value)


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(sequence=sequences)
def test_a_work_order_comes_back_exactly(tmp_path: Path, sequence: Sequence) -> None:
    """What is read is what was written, down to whether a value is 1, 1.0 or true."""
    order = order_of(sequence)
    write_work_order(tmp_path / "order.json", order)
    back = read_work_order(tmp_path / "order.json")
    assert exact(replace(back, seal="")) == exact(order)


SAMPLE = Sequence(
    steps=(
        Step(
            id="s1",
            kind=StepKind.RENUMBER,
            device="north-engine",
            at="127.44.3.31",
            as_found=Assigned(311, ("239.194.1.55:5004",)),
            wanted=Assigned(312, ("239.194.1.56:5004",)),
            source="program-1",
        ),
    ),
    phases=(Phase(("studio-north",)),),
)


def test_a_sequence_changed_by_hand_is_refused(tmp_path: Path) -> None:
    """Any one character of a value in the sequence, changed, is told; the digest covers it."""
    path = tmp_path / "order.json"
    write_work_order(path, order_of(SAMPLE))
    text = path.read_text(encoding="utf-8")
    for old, new in (
        ('"number": 312', '"number": 313'),
        ('"renumber"', '"readdress"'),
        ('239.194.1.56:5004"', '239.194.1.56:5006"'),
        ('"at": "127.44.3.31",\n        "as_found"', '"at": "127.44.3.32",\n        "as_found"'),
        ('"studio-north"', '"studio-south"'),
        ('"width": 16', '"width": 17'),
    ):
        assert text.count(old) == 1, old
        path.write_text(text.replace(old, new), encoding="utf-8")
        with pytest.raises(DocumentError) as caught:
            read_work_order(path)
        assert "the sequence was changed" in caught.value.problems[0].what


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        ('"after_failure": "hold-device"', '"after_failure": "hold-all"'),
        ('"soak_s": 0.0', '"soak_s": 9.0'),
        ('"facility": "', '"facility": "X'),
        ('"seal": "', '"seal": "0'),
    ],
)
def test_what_stands_beside_the_sequence_is_sealed_too(
    was: str, becomes: str, tmp_path: Path
) -> None:
    """Terms, rooms, acceptances: what was approved can't be changed by hand either."""
    path = tmp_path / "order.json"
    write_work_order(path, order_of(SAMPLE))
    text = path.read_text(encoding="utf-8")
    assert was in text, text
    path.write_text(text.replace(was, becomes, 1), encoding="utf-8")
    with pytest.raises(DocumentError) as caught:
        read_work_order(path)
    assert "beside the sequence was changed" in caught.value.problems[0].what


def test_it_says_what_it_is(tmp_path: Path) -> None:
    """The first member names the schema, so that no other JSON passes for a work order."""
    path = tmp_path / "order.json"
    write_work_order(path, order_of(SAMPLE))
    document = json.loads(path.read_text(encoding="utf-8"))
    assert next(iter(document)) == "schema"
    assert document["schema"] == SCHEMA
    document["schema"] = "cutsheet/work-order/2"
    path.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(DocumentError) as caught:
        read_work_order(path)
    assert "no cutsheet/work-order/1 document" in caught.value.problems[0].what


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '"x"', '{"schema": "cutsheet/work-order/1"}', "[" * 5000, '{"a": NaN}']
)
def test_what_is_no_work_order_is_told(tmp_path: Path, text: str) -> None:
    """Nothing but a document's own error comes of a file that is something else."""
    path = tmp_path / "order.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DocumentError) as caught:
        read_work_order(path)
    said = " ".join(problem.what for problem in caught.value.problems)
    assert "pydantic" not in said
    assert "Input should" not in said


def test_a_missing_file_is_the_callers_mistake(tmp_path: Path) -> None:
    """A name that leads nowhere is no wrong document."""
    with pytest.raises(CallError, match="there is no file"):
        read_work_order(tmp_path / "none.json")
