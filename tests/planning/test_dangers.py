from dataclasses import replace

import pytest

from orchestrator.facility.found import Found
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import ListensTo, Ref
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Effect, Saves
from orchestrator.facility.wanted import Release
from orchestrator.planning.dangers import identities, with_acceptances
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import Box, address, scene

LEAVE: dict[str, tuple[str, int, str | None]] = {"main": ("127.0.2.60", 24, None)}


def _release(what: str) -> Release:
    return Release(what=what, by="A. Licensee", reference="7", until="2026-01-02T00:00:00Z")


def _hazard(planned: DryRun, name: str) -> Hazard:
    return next(hazard for hazard in planned.hazards if hazard.name == name)


def _names(planned: DryRun) -> set[str]:
    return {hazard.name for hazard in planned.hazards}


def test_off_limits() -> None:
    """Why it is off limits is said; a release of the device lifts it, an acceptance does not."""
    boxes = hand.chain()
    boxes["b"].off_limits = "carries the emergency alert insertion"
    hazard = _hazard(hand.planned(boxes), "off-limits:b")
    assert (hazard.rule, hazard.grade) == ("H6", Grade.STOPS)
    assert "emergency alert insertion" in hazard.what
    assert hand.planned(boxes, accepted={"off-limits:b": "never mind"}).stopped
    assert not hand.planned(boxes, releases=(_release("b"),)).stopped
    boxes = {**hand.chain(), "d": Box(40, off_limits="alert")}
    assert not hand.planned(boxes).stopped


def test_on_air() -> None:
    """The source that feeds an on-air destination, and the destination; released one by one."""
    on_air = (Ref("c", "in"),)
    planned = hand.planned(hand.ring(), on_air=on_air)
    found = {h.name: h.grade for h in planned.hazards if h.blocks}
    assert found == {"on-air:a/s": Grade.STOPS, "on-air:c/in": Grade.STOPS}
    releases = (_release("a/s"), _release("c/in"))
    assert hand.planned(hand.ring(), on_air=on_air, releases=releases[:1]).stopped
    released = hand.planned(hand.ring(), on_air=on_air, releases=releases)
    assert not released.stopped
    assert released.silence[0].on_air


def test_on_air_is_readdressed() -> None:
    """A device that receives for the air is readdressed: its destination is named."""
    planned = hand.planned(hand.readdress(), on_air=(Ref("b", "in"),))
    assert {h.name for h in planned.hazards if h.blocks} == {"on-air:b/in"}


@pytest.mark.parametrize("effect", [Effect.INTERRUPTS, Effect.REBOOTS, Effect.PLANT_WIDE])
def test_on_air_is_interrupted_by_a_setting(effect: Effect) -> None:
    """A clock setting that reboots the transmitter feed takes it off the air: it stops."""
    box = Box(71, hears={"in": 311}, settings={"domain": 0}, set_to={"domain": 1})
    box.effects["domain"] = effect
    accepted = {"plant-wide:feed:domain": "asked"}
    planned = hand.planned({"feed": box}, on_air=(Ref("feed", "in"),), accepted=accepted)
    assert {h.name for h in planned.hazards if h.blocks} == {"on-air:feed/in"}
    box.effects["domain"] = Effect.NONE
    assert not hand.planned({"feed": box}, on_air=(Ref("feed", "in"),)).stopped


def test_a_listener_elsewhere_needs_a_name() -> None:
    """It stands in a room that was not chosen; accepted by name it follows, and the proof holds."""
    boxes = hand.chain()
    boxes["c"].room = "south"
    about = {"rooms": frozenset({"north"})}
    hazard = _hazard(hand.planned(boxes, **about), "listener:c/in")
    assert (hazard.rule, hazard.grade) == ("H6", Grade.NEEDS_NAME)
    assert "from 311 to 312" in hazard.what
    accepted = {"listener:c/in": "the duty editor knows"}
    planned = hand.planned(boxes, accepted=accepted, **about)
    assert not planned.stopped
    assert planned.proved
    assert _hazard(planned, "listener:c/in").accepted == "the duty editor knows"


def test_dangling_at_a_number_that_is_taken() -> None:
    """c/in points at 320, where nobody is; b/s comes there: enabled it stops, else it is told."""
    boxes = hand.chain()
    boxes["c"].hears["in"] = 320
    hazard = _hazard(hand.planned(boxes), "dangling:c/in")
    assert (hazard.rule, hazard.grade) == ("H8", Grade.STOPS)
    assert "would hear it at once" in hazard.what
    boxes["b"].wants["s"] = (320, False)
    hazard = _hazard(hand.planned(boxes), "dangling:c/in")
    assert hazard.grade is Grade.INFORMATION
    boxes["b"].wants["s"] = (320, None)
    boxes["c"].listens["in"] = ListensTo(source=Ref("b", "s"))
    assert "dangling:c/in" not in _names(hand.planned(boxes))


def test_losing_its_listeners() -> None:
    """A source switched off for good, or taken out of the facility, tells who hears nothing."""
    boxes = {"a": Box(31, {"s": (311, True)}, wants={"s": (311, False)}), "c": Box(33)}
    boxes["c"].hears["in"] = 311
    planned = hand.planned(boxes)
    assert not planned.stopped
    hazard = _hazard(planned, "losing:a/s")
    assert (hazard.grade, hazard.where) == (Grade.INFORMATION, ("a/s", "c/in"))
    boxes["a"].wants = {"s": (5, True)}
    boxes["a"].exact = LEAVE
    assert "losing:a/s" in _names(hand.planned(boxes))
    boxes["c"].hears["in"] = 399
    assert "losing:a/s" not in _names(hand.planned(boxes))


def test_a_device_that_can_not() -> None:
    """Its device description has no write for a step: said once for each kind."""
    boxes = {
        "a": Box(
            31, {"s": (311, True), "t": (312, True)}, wants={"s": (320, None), "t": (321, None)}
        )
    }
    boxes["a"].can = frozenset({StepKind.RENUMBER, StepKind.DISABLE})
    planned = hand.planned(boxes)
    assert [h.name for h in planned.hazards] == ["can-not:a:enable"]
    assert planned.hazards[0].grade is Grade.STOPS


def test_a_device_whose_kind_offers_no_way_says_why() -> None:
    """The reason comes from its traits, and no device description is blamed."""
    boxes = {"a": Box(31, {"s": (311, True)}, wants={"s": (320, None)})}
    boxes["a"].can = frozenset({StepKind.DISABLE, StepKind.ENABLE})
    where = scene(boxes)
    said = {StepKind.RENUMBER: "the standards offer no way to change it"}
    traits = {"a": replace(where.traits["a"], cannot=said)}
    hazard = next(h for h in dry_run(replace(where, traits=traits)).hazards)
    assert hazard.name == "can-not:a:renumber"
    assert hazard.what == "a: the standards offer no way to change it"
    assert "description" not in hazard.fix


def test_settings_that_touch_the_plant_need_a_name() -> None:
    """Those that only interrupt their own device are told."""
    box = Box(31, {"s": (311, True)}, settings={"domain": 0}, set_to={"domain": 4})
    box.effects["domain"] = Effect.PLANT_WIDE
    hazard = _hazard(hand.planned({"a": box}), "plant-wide:a:domain")
    assert hazard.grade is Grade.NEEDS_NAME
    assert "from 0 to 4" in hazard.what
    assert not hand.planned({"a": box}, accepted={"plant-wide:a:domain": "asked"}).stopped
    for effect in (Effect.INTERRUPTS, Effect.REBOOTS):
        box.effects["domain"] = effect
        planned = hand.planned({"a": box})
        assert not planned.stopped
        assert _hazard(planned, "effect:a:domain").grade is Grade.INFORMATION
    box.effects["domain"] = Effect.NONE
    assert hand.planned({"a": box}).hazards == ()


def test_a_device_without_serial_needs_a_name() -> None:
    """The unit that answers is named with its serial, to be read from its label."""
    boxes = {"a": Box(31, {"s": (311, True)}, labels={"s": "News"}, serial=None)}
    hazard = _hazard(hand.planned(boxes), "serial:a")
    assert (hazard.rule, hazard.grade) == ("H7", Grade.NEEDS_NAME)
    assert "SN-a" in hazard.what
    assert not hand.planned(boxes, accepted={"serial:a": "read the label"}).stopped


def test_a_firmware_never_tried_is_only_read() -> None:
    """A version covers its own sub-versions, and no longer number that begins alike."""
    boxes = {"a": Box(31, {"s": (311, True)}, labels={"s": "News"}, tried_with=("2.1",))}
    where = scene(boxes)
    assert "firmware:a" in _names(dry_run(where))
    state = where.states["a"]
    for firmware, covered in (("2.1", True), ("2.1.7", True), ("2.10", False), ("2", False)):
        named = replace(state, identity=replace(state.identity, firmware=firmware))
        entry = Found(at=address(31), state=named, response_s=0.1)
        at = replace(where, found=replace(where.found, devices={"a": entry}))
        assert ("firmware:a" not in {h.name for h in identities(at, {"a"})}) is covered


def test_a_listener_on_a_device_that_did_not_answer() -> None:
    """By the plan it hears a/s, which moves: it can't be pointed, so somebody has to say so."""
    boxes = hand.chain()
    boxes["gone"] = Box(61, absent=True)
    boxes["gone"].planned_hears = {
        "in": ListensTo(source=Ref("a", "s")),
        "other": ListensTo(source=Ref("c", "s")),
        "number": ListensTo(number=311),
    }
    hazards = [h for h in hand.planned(boxes).hazards if h.blocks]
    assert [(h.name, h.grade) for h in hazards] == [("listener:gone/in", Grade.NEEDS_NAME)]
    assert not hand.planned(boxes, accepted={"listener:gone/in": "by hand"}).stopped
    boxes["a"].wants.clear()
    assert not hand.planned(boxes).stopped


def test_a_device_that_is_not_touched_is_no_danger() -> None:
    """Off limits, without serial, of unknown firmware: nothing to say while it is left alone."""
    idle = Box(40, {"s": (401, True)}, off_limits="alert", serial=None, tried_with=("1",))
    assert hand.planned({**hand.chain(), "idle": idle}).hazards == ()


def test_acceptances_belong_to_hazards_that_need_a_name() -> None:
    """What stops stays; what blocks comes first; a hazard said twice is said once."""
    stops = Hazard(name="x", rule="H1", grade=Grade.STOPS, what="x")
    named = Hazard(name="m", rule="H6", grade=Grade.NEEDS_NAME, what="m")
    open_one = replace(named, name="z")
    told = Hazard(name="a", rule="H8", grade=Grade.INFORMATION, what="a")
    accepted = {"x": "no", "m": "asked", "a": "why"}
    found = with_acceptances([told, named, open_one, stops, stops], accepted)
    assert [(h.name, h.accepted) for h in found] == [
        ("x", None),
        ("z", None),
        ("m", "asked"),
        ("a", None),
    ]


def test_a_readdressed_device_names_each_thing_on_air_once() -> None:
    """A disable and the readdress both interrupt a/s; it is one hazard."""
    boxes = hand.exchange()
    boxes["c"] = Box(33, hears={"in": 311})
    planned = hand.planned(boxes, on_air=(Ref("c", "in"),))
    assert [h.name for h in planned.hazards if h.blocks] == ["on-air:a/s"]
    assert address(31) in {s.at for s in planned.sequence.steps if s.device == "a"}


def _unsaved(boxes: dict[str, Box], *names: str) -> Scene:
    """The scene in which some devices say that they hold something unsaved."""
    where = scene(boxes)
    devices = dict(where.found.devices)
    for name in names:
        entry = devices[name]
        assert isinstance(entry, Found)
        devices[name] = replace(entry, state=replace(entry.state, unsaved=True))
    return replace(where, found=replace(where.found, devices=devices))


def test_what_another_hand_left_unsaved_needs_a_name() -> None:
    """The change would save it for good, and nobody has read what the device would boot with."""
    boxes = hand.chain()
    boxes["b"].saves = Saves.ON_SAVE
    hazard = _hazard(dry_run(_unsaved(boxes, "b")), "unsaved:b")
    assert (hazard.rule, hazard.grade, hazard.where) == ("H9", Grade.NEEDS_NAME, ("b",))
    assert "saves them for good" in hazard.what
    assert "unsaved:a" not in _names(dry_run(_unsaved(boxes, "a")))  # it saves at once


def test_so_does_a_device_that_is_not_changed_while_others_take_something() -> None:
    """It is not written to; but what it boots with may be what another is given."""
    boxes = {**hand.chain(), "z": Box(39, {"s": (391, True)}, saves=Saves.ON_SAVE)}
    planned = dry_run(_unsaved(boxes, "z"))
    assert "a power cycle may put it onto" in _hazard(planned, "unsaved:z").what
    assert all(step.device != "z" for step in planned.sequence.steps)
    label = {"a": Box(31, {"s": (311, True)}, labels={"s": "News"}), "z": boxes["z"]}
    assert _names(dry_run(_unsaved(label, "z"))) == set()


def test_what_stands_on_a_bench_may_boot_with_anything() -> None:
    """It holds nothing of the facility."""
    boxes = hand.chain()
    boxes["z"] = Box(39, {"s": (1, True)}, at="127.0.2.50", saves=Saves.ON_SAVE)
    assert "unsaved:z" not in _names(dry_run(_unsaved(boxes, "z")))
