"""Steps and what they set."""

import pytest

from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Sequence,
    Step,
    StepKind,
    StepValue,
    batches_of,
)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (Assigned(311, ("239.194.1.55:5004",)), "311"),
        (Assigned(None), "unassigned"),
        (AddressValue("main", "127.44.3.31", 24), "127.44.3.31"),
        (Hearing(number=311), "311"),
        (Hearing(number=0), "0"),
        (Hearing(group="239.194.1.55:5004"), "239.194.1.55:5004"),
        (Hearing(), "nothing"),
    ],
)
def test_values_in_words(value: StepValue, words: str) -> None:
    """As tables show them; unassigned is no number."""
    assert str(value) == words


@pytest.mark.parametrize(
    ("source", "destination", "subject"),
    [(None, None, "a"), ("x", None, "a/x"), (None, "in-1", "a/in-1")],
)
def test_the_subject(source: str | None, destination: str | None, subject: str) -> None:
    """The device, or what of it the step is about."""
    step = Step(
        id="s",
        kind=StepKind.SET,
        device="a",
        at="127.44.3.31",
        as_found=1,
        wanted=2,
        source=source,
        destination=destination,
    )
    assert step.subject == subject


def test_kinds_keep_their_words() -> None:
    """They stand in work orders and ledgers, and so may not change."""
    assert [str(kind) for kind in StepKind] == [
        "disable",
        "set",
        "renumber",
        "repoint",
        "save",
        "readdress",
        "confirm",
        "enable",
        "by-hand",
    ]


def test_a_step_can_be_told_from_another_by_any_value() -> None:
    """Frozen values compare by what they hold, so that a run can be stored and replayed."""
    one = Sequence(steps=())
    assert one == Sequence(steps=(), phases=(), width=16)
    assert one != Sequence(steps=(), width=4)
    assert hash(Assigned(1)) == hash(Assigned(1))


def test_what_goes_in_one_request_by_device_and_batch() -> None:
    """Two devices may use one number; what goes alone is in none."""
    off = StepKind.DISABLE
    steps = [
        Step(id=name, kind=off, device=device, at="", as_found=True, wanted=False, batch=batch)
        for name, device, batch in (("a", "x", 1), ("b", "y", 1), ("c", "x", 0), ("d", "x", 1))
    ]
    found = {key: [step.id for step in members] for key, members in batches_of(steps).items()}
    assert found == {("x", 1): ["a", "d"], ("y", 1): ["b"]}
