import pytest

from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import Hearing, Sequence, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.facility.wanted import Unit
from tests.planning import hand
from tests.planning.scenes import Box, address

K = StepKind
LEAVE: dict[str, tuple[str, int, str | None]] = {"main": ("127.0.2.60", 24, None)}


def _line(sequence: Sequence, device: str) -> list[Step]:
    return [s for s in sequence.steps if s.device == device]


def _kinds(sequence: Sequence, device: str) -> list[StepKind]:
    return [s.kind for s in _line(sequence, device)]


def _joiner(saves: Saves, hears: int | None = None) -> Box:
    return Box(
        50,
        {"s": (1, True)},
        hears={"in": hears},
        at="127.0.2.50",
        to=address(50),
        unit=Unit.FRESH,
        wants={"s": (501, True)},
        saves=saves,
    )


def test_readdress_confirm_then_the_rest() -> None:
    """All is off and labelled before; the enable waits for the confirm."""
    _, sequence = hand.safe(hand.readdress())
    assert _kinds(sequence, "a") == [K.SET, K.DISABLE, K.READDRESS, K.CONFIRM, K.ENABLE]


def test_a_device_is_spoken_to_where_it_is() -> None:
    """At its old address up to the readdress, at its new one from the confirm on."""
    _, sequence = hand.safe(hand.readdress())
    at = [s.at for s in _line(sequence, "a")]
    assert at == [address(31)] * 3 + [address(32)] * 2


def test_a_device_in_transit_is_spoken_to_there() -> None:
    """The way home starts at the transit address."""
    _, sequence = hand.safe(hand.exchange())
    lent = next(s.device for s in sequence.steps if str(s.wanted) == "127.44.3.230")
    moves = [s for s in _line(sequence, lent) if s.kind in {K.READDRESS, K.CONFIRM}]
    home = {"a": address(32), "b": address(31)}[lent]
    old = {"a": address(31), "b": address(32)}[lent]
    assert [s.at for s in moves] == [old, "127.44.3.230", "127.44.3.230", home]


def test_a_joining_unit_saves_first() -> None:
    """Where it boots with what is saved: before the readdress, and after its confirm."""
    _, sequence = hand.safe({"new": _joiner(Saves.ON_SAVE)})
    kinds = _kinds(sequence, "new")
    assert kinds == [
        K.DISABLE,
        K.RENUMBER,
        K.SAVE,
        K.READDRESS,
        K.CONFIRM,
        K.SAVE,
        K.ENABLE,
        K.SAVE,
    ]
    assert K.SAVE not in _kinds(hand.safe({"new": _joiner(Saves.AT_ONCE)})[1], "new")


def test_a_joining_unit_comes_without_its_old_pointers() -> None:
    """It is pointed at nothing on the bench, also where it holds the sender's address."""
    for holds in (True, False):
        box = _joiner(Saves.AT_ONCE, hears=311)
        box.holds_sender = holds
        where, sequence = hand.safe({"a": Box(31, {"s": (311, True)}), "new": box})
        repoint = hand.step(sequence, K.REPOINT, "new/in")
        assert repoint.wanted == Hearing()
        assert repoint.order < hand.step(sequence, K.READDRESS, "new").order
        assert hand.verdict(where, sequence) == []


def test_a_joining_unit_is_pointed_on_the_bench() -> None:
    """What it is to listen to stands where it is: the repoint comes before the join."""
    box = _joiner(Saves.AT_ONCE, hears=None)
    box.listens["in"] = ListensTo(source=Ref("a", "s"))
    box.holds_sender = True
    _, sequence = hand.safe({"a": Box(31, {"s": (311, True)}), "new": box})
    repoint = hand.step(sequence, K.REPOINT, "new/in")
    assert repoint.order < hand.step(sequence, K.READDRESS, "new").order


@pytest.mark.parametrize("hears", [None, 311])
def test_two_joining_units_that_hold_each_others_address(hears: int | None) -> None:
    """Each is pointed once the other has joined; until then it points nowhere."""
    boxes = {"a": Box(31, {"s": (311, True)})}
    for name, host in (("one", 50), ("two", 51)):
        box = _joiner(Saves.AT_ONCE, hears=hears)
        box.host, box.at, box.to = host, f"127.0.2.{host}", address(host)
        box.wants = {"s": (host * 10 + 1, True)}
        box.holds_sender = True
        boxes[name] = box
    boxes["one"].listens["in"] = ListensTo(source=Ref("two", "s"))
    boxes["two"].listens["in"] = ListensTo(source=Ref("one", "s"))
    _, sequence = hand.safe(boxes)
    for name in ("one", "two"):
        repoints = [s for s in _line(sequence, name) if s.kind is K.REPOINT]
        confirm = hand.step(sequence, K.CONFIRM, name)
        assert repoints[-1].order > confirm.order
        assert len(repoints) == (1 if hears is None else 2)


def test_a_leaving_unit_is_renumbered_on_the_bench() -> None:
    """Off and readdressed first; then renumbered, and enabled, where it harms nobody."""
    box = Box(31, {"s": (311, True)}, exact=LEAVE, wants={"s": (5, True)}, saves=Saves.ON_SAVE)
    _, sequence = hand.safe({"a": box})
    kinds = _kinds(sequence, "a")
    assert kinds == [
        K.DISABLE,
        K.READDRESS,
        K.CONFIRM,
        K.SAVE,
        K.RENUMBER,
        K.ENABLE,
        K.SAVE,
    ]
    assert {s.at for s in _line(sequence, "a")[4:]} == {"127.0.2.60"}


def test_a_leaving_unit_needs_no_save_before_it_goes() -> None:
    """What it boots with is saved after the confirm; only then is its address free (H9)."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, exact=LEAVE, wants={"s": (5, True)}, saves=Saves.ON_SAVE),
        "b": Box(32, to=address(31)),
    }
    where, sequence = hand.safe(boxes)
    save = hand.step(sequence, K.SAVE, "a")
    taker = hand.step(sequence, K.READDRESS, "b")
    assert hand.case(where, sequence).order.before(save, taker)


def test_a_listener_that_holds_the_senders_address_points_late() -> None:
    """Its repoint comes after its own readdress, and after the sender's."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, to=address(40), wants={"s": (320, None)}),
        "c": Box(33, hears={"in": 311}, to=address(41), holds_sender=True),
    }
    where, sequence = hand.safe(boxes)
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    before = hand.case(where, sequence).order.before
    assert before(hand.step(sequence, K.CONFIRM, "c"), repoint)
    assert before(hand.step(sequence, K.CONFIRM, "a"), repoint)
    boxes["c"].holds_sender = False
    where, sequence = hand.safe(boxes)
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    assert hand.case(where, sequence).order.before(repoint, hand.step(sequence, K.READDRESS, "c"))
