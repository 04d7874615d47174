import pytest

from orchestrator.facility.plan import ListensTo
from orchestrator.facility.step import Hearing, Sequence, StepKind
from orchestrator.facility.traits import Effect
from tests.planning import hand
from tests.planning.scenes import Box, address

K = StepKind


def _kinds(sequence: Sequence, device: str = "a") -> list[tuple[StepKind, str]]:
    return sorted((s.kind, s.subject) for s in sequence.steps if s.device == device)


def test_a_renumber_stands_between_disable_and_enable() -> None:
    """The source is silenced only around it."""
    _, sequence = hand.safe({"a": Box(31, {"s": (311, True)}, wants={"s": (320, None)})})
    assert [s.kind for s in sequence.steps] == [K.DISABLE, K.RENUMBER, K.ENABLE]
    assert [s.after for s in sequence.steps] == [(), ("s1",), ("s1", "s2")]


@pytest.mark.parametrize(
    ("was", "wish", "kinds"),
    [
        (True, False, [K.DISABLE, K.RENUMBER]),
        (False, True, [K.ENABLE, K.RENUMBER]),
        (False, None, [K.RENUMBER]),
        (True, True, [K.DISABLE, K.ENABLE, K.RENUMBER]),
    ],
)
def test_switches_follow_what_was_and_what_is_wanted(
    was: bool,  # noqa: FBT001 - a table's column
    wish: bool | None,  # noqa: FBT001 - a table's column
    kinds: list[StepKind],
) -> None:
    """A source that is off needs no disable; one that stays off no enable."""
    _, sequence = hand.safe({"a": Box(31, {"s": (311, was)}, wants={"s": (320, wish)})})
    assert [kind for kind, _ in _kinds(sequence)] == sorted(kinds)


def test_switching_alone_is_one_step() -> None:
    """No renumber, no readdress: the switch and nothing else."""
    for was in (True, False):
        _, sequence = hand.safe({"a": Box(31, {"s": (311, was)}, wants={"s": (311, not was)})})
        assert [s.kind for s in sequence.steps] == [K.DISABLE if was else K.ENABLE]


def test_a_label_needs_no_silence() -> None:
    """One set, with the label as found and wanted."""
    _, sequence = hand.safe({"a": Box(31, {"s": (311, True)}, labels={"s": "News"})})
    (step,) = sequence.steps
    assert (step.kind, step.source, step.setting) == (K.SET, "s", "label")
    assert (step.as_found, step.wanted) == ("", "News")


def test_a_readdress_silences_every_source_of_the_device() -> None:
    """Also those that nobody asked about; those that are off stay off."""
    _, sequence = hand.safe({"a": Box(31, {"s": (311, True), "t": (312, False)}, to=address(40))})
    assert (K.DISABLE, "a/s") in _kinds(sequence)
    assert (K.ENABLE, "a/s") in _kinds(sequence)
    assert not [subject for _, subject in _kinds(sequence) if subject == "a/t"]


@pytest.mark.parametrize("effect", list(Effect))
def test_a_setting_with_an_effect_waits_for_silence(effect: Effect) -> None:
    """A harmless one is a single step; the others come while every source is off."""
    box = Box(31, {"s": (311, True)}, settings={"domain": 0}, set_to={"domain": 1})
    box.effects["domain"] = effect
    planned = hand.planned({"a": box}, accepted={"plant-wide:a:domain": "asked"})
    kinds = [s.kind for s in planned.sequence.steps]
    assert not planned.stopped
    harmless = effect is Effect.NONE
    assert kinds == ([K.SET] if harmless else [K.DISABLE, K.SET, K.ENABLE])


def test_a_pointer_is_set_by_a_repoint() -> None:
    """To a number, or to nothing."""
    for wish, wanted in ((ListensTo(number=305), Hearing(number=305)), (ListensTo(), Hearing())):
        _, sequence = hand.safe({"a": Box(31, hears={"in": 311}, listens={"in": wish})})
        (step,) = sequence.steps
        assert (step.kind, step.as_found, step.wanted) == (K.REPOINT, Hearing(number=311), wanted)
