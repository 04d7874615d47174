import pytest

from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.traits import Hears
from orchestrator.facility.wanted import Unit
from orchestrator.planning.aims.listeners import Hearing, Listener, listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.scene import Scene
from tests.planning.scenes import Box, address, group, scene

LEAVE: dict[str, tuple[str, int, str | None]] = {"main": ("127.0.2.60", 24, None)}


def _heard(where: Scene) -> Hearing:
    return listeners(where, targets(where).states)


def _one(boxes: dict[str, Box], ref: str = "c/in") -> Listener:
    device, name = ref.split("/")
    return _heard(scene(boxes)).listeners[Ref(device, name)]


def _moving(wants: int | None = 312) -> Box:
    return Box(31, {"s": (311, True)}, wants={"s": (wants, None)})


def test_a_listener_follows_by_number() -> None:
    """It heard a/s on 311 and is pointed at 312, where a/s goes."""
    listener = _one({"a": _moving(), "c": Box(33, hears={"in": 311})})
    assert (listener.before, listener.after) == ((Ref("a", "s"),), Ref("a", "s"))
    assert (listener.found, listener.wanted) == (311, 312)
    assert listener.follows
    assert not listener.asked


def test_a_listener_follows_by_group() -> None:
    """Where it points at a group, it gets the new group."""
    listener = _one({"a": _moving(), "c": Box(33, hears={"in": group(311)}, by=Hears.GROUP)})
    assert listener.wanted == group(312)


def test_the_kind_of_pointer_found_decides_not_the_traits() -> None:
    """A device said to hear by number that holds a group is given a group."""
    listener = _one({"a": _moving(), "c": Box(33, hears={"in": group(311)}, by=Hears.NUMBER)})
    assert listener.wanted == group(312)


def test_a_listener_of_nobody_stays() -> None:
    """Pointed at a number that nobody holds, or at nothing, it keeps that."""
    heard = _heard(scene({"a": _moving(), "c": Box(33, hears={"in": 399, "off": None})}))
    assert {r.name: (v.wanted, v.before) for r, v in heard.listeners.items()} == {
        "in": (399, ()),
        "off": (None, ()),
    }


@pytest.mark.parametrize(("by", "pointer"), [(Hears.NUMBER, 321), (Hears.GROUP, group(321))])
def test_as_asked_by_source(by: Hears, pointer: int | str) -> None:
    """The playbook names a source: the pointer is what that source will hold, in its own kind."""
    box = Box(33, hears={"in": None}, by=by, listens={"in": ListensTo(source=Ref("b", "s"))})
    listener = _one({"b": Box(32, {"s": (399, True)}, wants={"s": (321, None)}), "c": box})
    assert (listener.after, listener.wanted, listener.asked) == (Ref("b", "s"), pointer, True)
    assert not listener.follows


def test_as_asked_by_number_means_the_number() -> None:
    """It is not followed: whoever holds 311 when all is done is heard."""
    box = Box(33, hears={"in": 311}, listens={"in": ListensTo(number=311)})
    other = Box(32, {"s": (321, True)}, wants={"s": (311, None)})
    listener = _one({"a": _moving(), "b": other, "c": box})
    assert (listener.wanted, listener.after) == (311, Ref("b", "s"))
    assert not listener.follows


def test_a_number_asked_of_a_listener_by_group_is_its_group() -> None:
    """The plan's rule turns 305 into a group; a number without group is left as it is."""
    box = Box(33, hears={"in": None}, by=Hears.GROUP, listens={"in": ListensTo(number=305)})
    assert _one({"c": box}).wanted == group(305)
    box.listens["in"] = ListensTo(number=70_000)
    assert _one({"c": box}).wanted == 70_000


def test_as_asked_by_group_and_nothing() -> None:
    """A group stands as it is; nothing is nothing."""
    box = Box(33, hears={"in": group(311)}, by=Hears.GROUP)
    box.listens["in"] = ListensTo(group=group(305))
    assert _one({"c": box}).wanted == group(305)
    box.listens["in"] = ListensTo()
    assert (_one({"c": box}).wanted, _one({"c": box}).asked) == (None, True)


def test_asked_for_a_source_without_number_is_a_hazard() -> None:
    """A source that was not found, or is to be unassigned, can't be listened to."""
    box = Box(33, hears={"in": 311}, listens={"in": ListensTo(source=Ref("ghost", "s"))})
    heard = _heard(scene({"a": _moving(), "c": box}))
    assert [h.name for h in heard.hazards] == ["no-such-source:c/in"]
    assert heard.listeners[Ref("c", "in")].wanted == 311


def test_asked_for_a_source_on_a_bench_is_a_hazard() -> None:
    """The source leaves, and is 5 there; 5 is another's in the facility, and must not be heard."""
    asked = {"in": ListensTo(source=Ref("a", "s"))}
    boxes = {
        "a": Box(31, {"s": (311, True)}, exact=LEAVE, wants={"s": (5, True)}),
        "b": Box(32, {"s": (5, True)}),
        "c": Box(33, hears={"in": 311}, listens=asked),
    }
    heard = _heard(scene(boxes))
    assert [h.name for h in heard.hazards] == ["no-such-source:c/in"]
    assert "on a bench" in heard.hazards[0].what
    assert heard.listeners[Ref("c", "in")].wanted == 311


def test_a_destination_that_the_device_has_not_is_a_hazard() -> None:
    """The playbook names a destination that was not found."""
    box = Box(33, hears={"in": 311}, listens={"ghost": ListensTo(number=311)})
    heard = _heard(scene({"c": box}))
    assert [h.name for h in heard.hazards] == ["no-destination:c/ghost"]
    assert "it has in" in heard.hazards[0].what


def test_a_listener_on_a_duplicate_is_ambiguous_once_one_moves() -> None:
    """Whom it means can't be told; as long as both stay it need not be."""
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "b": Box(32, {"s": (311, True)}),
        "c": Box(33, hears={"in": 311}),
    }
    assert _heard(scene(boxes)).hazards == ()
    boxes["b"].wants["s"] = (321, None)
    (hazard,) = _heard(scene(boxes)).hazards
    assert (hazard.name, hazard.rule, hazard.blocks) == ("ambiguous:c/in", "H8", True)
    assert hazard.where == ("c/in", "a/s", "b/s")
    boxes["c"].listens["in"] = ListensTo(source=Ref("b", "s"))
    heard = _heard(scene(boxes))
    assert heard.hazards == ()
    assert heard.listeners[Ref("c", "in")].wanted == 321


def test_a_listener_of_a_source_that_leaves_keeps_its_pointer() -> None:
    """The source goes to the bench: there is nothing to follow."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, exact=LEAVE, wants={"s": (5, True)}),
        "c": Box(33, hears={"in": 311}),
    }
    listener = _one(boxes)
    assert (listener.found, listener.wanted) == (311, 311)


def test_a_joining_unit_brings_no_pointer_along() -> None:
    """What it was pointed at on the bench is pointed at nothing, unless the playbook says."""
    new = Box(50, hears={"in": 311}, at="127.0.2.50", to=address(50), unit=Unit.REUSED)
    boxes = {"a": Box(31, {"s": (311, True)}), "new": new}
    listener = _one(boxes, "new/in")
    assert (listener.before, listener.wanted) == ((), None)
    new.listens["in"] = ListensTo(source=Ref("a", "s"))
    assert _one(boxes, "new/in").wanted == 311


def test_the_wanted_states_are_pointed() -> None:
    """The answer's states hold the pointers; a device without destinations is left as it was."""
    where = scene({"a": _moving(), "c": Box(33, hears={"in": 311})})
    aims = targets(where).states
    heard = listeners(where, aims)
    assert heard.states["c"].destinations["in"].hears == 312
    assert heard.states["a"] is aims["a"]
    assert heard.by_source == {Ref("a", "s"): [Ref("c", "in")]}
