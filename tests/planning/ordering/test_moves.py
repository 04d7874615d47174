from dataclasses import replace
from ipaddress import IPv4Network

from orchestrator.facility.found import Found, InterfaceState
from orchestrator.facility.hazard import Hazard
from orchestrator.facility.plan import Network, PlannedSource
from orchestrator.facility.step import AddressValue, Assigned
from orchestrator.facility.wanted import Unit
from orchestrator.planning.aims.holders import holders
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.ordering.moves import Move, link, moves, own_doubles
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import NUMBERING, Box, address, group, scene


def _moves(where: Scene) -> tuple[list[Move], list[Hazard]]:
    found = moves(where, targets(where).states)
    return found, link(found, holders(where), where)


def _names(hazards: list[Hazard]) -> list[str]:
    return [hazard.name for hazard in hazards]


def test_a_renumber_takes_and_frees_number_and_group() -> None:
    """What it keeps is neither taken nor freed."""
    where = scene({"a": Box(31, {"s": (311, True), "t": (312, True)}, wants={"s": (320, None)})})
    (move,), hazards = _moves(where)
    assert hazards == []
    assert (move.subject, move.as_found) == ("a/s", Assigned(311, (group(311),)))
    assert set(move.takes) == {("number", "media", 320), ("group", "media", group(320))}
    assert set(move.frees) == {("number", "media", 311), ("group", "media", group(311))}


def test_a_readdress_takes_and_frees_addresses() -> None:
    """Within one network the device's numbers stay where they are."""
    (move,), _ = _moves(scene({"a": Box(31, {"s": (311, True)}, to=address(40))}))
    assert move.subject == "a"
    assert isinstance(move.wanted, AddressValue)
    assert set(move.takes) == {("address", "media", address(40))}
    assert set(move.frees) == {("address", "media", address(31))}
    assert not move.joins
    assert not move.leaves


def test_a_join_takes_all_that_the_unit_will_hold() -> None:
    """Its renumbers on the bench take nothing; the readdress takes numbers and address at once."""
    where = scene({s: box for s, box in hand.join().items() if s == "new"})
    found, _ = _moves(where)
    renumbers = [m for m in found if m.source]
    (join,) = [m for m in found if not m.source]
    assert all(not m.takes and not m.frees for m in renumbers)
    assert join.joins
    assert not join.frees
    assert {("number", "media", 501), ("address", "media", address(50))} <= set(join.takes)


def test_a_leave_frees_all_that_the_unit_holds() -> None:
    """Its readdress lets go of everything; its renumbers follow on the bench."""
    box = Box(
        31, {"s": (311, True)}, exact={"main": ("127.0.2.9", 24, None)}, wants={"s": (5, None)}
    )
    found, _ = _moves(scene({"a": box}))
    (leave,) = [m for m in found if not m.source]
    (renumber,) = [m for m in found if m.source]
    assert leave.leaves
    assert renumber.leaves
    assert not renumber.takes
    assert not renumber.frees
    assert ("number", "media", 311) in leave.frees
    assert ("address", "media", address(31)) in leave.frees


def test_who_takes_waits_for_who_lets_go() -> None:
    """In a chain each move waits for the next."""
    found, hazards = _moves(scene(hand.chain()))
    place = {move.subject: index for index, move in enumerate(found)}
    assert hazards == []
    assert list(found[place["a/s"]].waits) == [place["b/s"]]
    assert not found[place["b/s"]].waits


def test_a_bystander_is_a_hazard() -> None:
    """b/s holds 312 and nobody moves it."""
    boxes = hand.chain()
    boxes["b"].wants.clear()
    _, (hazard,) = _moves(scene(boxes))
    assert (hazard.name, hazard.rule, hazard.where) == ("held:a/s:312", "H1", ("a/s", "b/s"))
    assert "move b/s too" in hazard.fix


def test_a_bystander_in_another_room_is_said_to_be_there() -> None:
    """The fix names the room that was not chosen."""
    boxes = hand.chain()
    boxes["b"].wants.clear()
    boxes["b"].room = "south"
    _, (hazard,) = _moves(scene(boxes, rooms=frozenset({"north"})))
    assert "south, which is not among the chosen rooms" in hazard.fix


def test_an_absent_bystander_is_a_hazard() -> None:
    """By the plan 312 is an absent device's, and no answer is not vacant."""
    boxes = hand.chain()
    source = PlannedSource(name="x", number=312)
    boxes["b"] = Box(32, absent=True, planned={"x": source})
    _, (hazard,) = _moves(scene(boxes))
    assert hazard.where == ("a/s", "b/x")
    assert "no answer is not vacant" in hazard.what


def test_an_address_held_by_a_bystander_is_h2() -> None:
    """The address of a device that stays."""
    _, (hazard,) = _moves(scene({"a": Box(31, to=address(32)), "b": Box(32)}))
    assert (hazard.name, hazard.rule) == (f"held:a:{address(32)}", "H2")


def test_two_takers_are_a_hazard() -> None:
    """Two sources are both to hold 320: one hazard for number and group together."""
    boxes = {
        name: Box(host, {"s": (host * 10 + 1, True)}, wants={"s": (320, None)})
        for name, host in (("a", 31), ("b", 32))
    }
    _, hazards = _moves(scene(boxes))
    assert [(h.rule, h.where) for h in hazards] == [("H1", ("a/s", "b/s"))]


def test_a_duplicate_is_free_only_when_both_have_let_go() -> None:
    """c/s takes 311 from a/s and b/s and waits for both; if one stays, it stops."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (315, None)}),
        "b": Box(32, {"s": (311, True)}, wants={"s": (325, None)}),
        "c": Box(33, {"s": (331, True)}, wants={"s": (311, None)}),
    }
    found, hazards = _moves(scene(boxes))
    assert hazards == []
    assert sorted(found[2].waits) == [0, 1]
    boxes["b"].wants.clear()
    assert _names(_moves(scene(boxes))[1]) == ["held:c/s:311"]


def test_two_sources_of_a_joining_unit_on_one_number() -> None:
    """On the bench that does no harm; it must not be brought into the facility."""
    new = Box(50, {"s": (1, True), "t": (501, False)}, at="127.0.2.50", to=address(50))
    new.unit = Unit.REUSED
    new.wants = {"s": (501, True), "t": (None, None)}
    where = scene({"new": new})
    (hazard,) = [h for h in own_doubles(where, targets(where).states) if h.name.endswith(":501")]
    assert (hazard.rule, hazard.where, hazard.blocks) == ("H1", ("new/s", "new/t"), True)
    assert hand.planned({"new": new}).sequence.steps == ()
    del new.wants["t"]
    where = scene({"new": new})
    assert list(own_doubles(where, targets(where).states)) == []


def test_a_duplicate_within_a_device_that_stays_is_no_new_one() -> None:
    """It is there already, on the same network, and a readdress within it spreads nothing."""
    where = scene({"a": Box(31, {"s": (311, True), "t": (311, False)}, to=address(40))})
    assert list(own_doubles(where, targets(where).states)) == []


def test_from_one_network_to_another_everything_moves() -> None:
    """A device that changes networks frees its numbers on the one and takes them on the other."""
    where = scene({"a": Box(31, {"s": (311, True)}, to="127.44.4.31")})
    other = Network(name="other", subnet=IPv4Network("127.44.4.0/24"), numbering=NUMBERING)
    plan = replace(where.plan, networks={**where.plan.networks, "other": other})
    (move,), hazards = _moves(replace(where, plan=plan))
    assert hazards == []
    assert ("number", "media", 311) in move.frees
    assert ("number", "other", 311) in move.takes
    assert not move.joins
    assert not move.leaves


def test_each_leg_is_a_network_of_its_own() -> None:
    """One group on both legs is two things, each on its own network, and no duplicate."""
    where = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (320, None)})})
    blue = Network(name="blue", subnet=IPv4Network("127.44.4.0/24"), numbering=NUMBERING)
    state = where.states["a"]
    legs = replace(
        state,
        interfaces={
            **state.interfaces,
            "blue": InterfaceState(address="127.44.4.31", prefix=24),
        },
        sources={"s": replace(state.sources["s"], groups=(group(311), group(311)))},
    )
    plan = replace(where.plan, networks={**where.plan.networks, "blue": blue})
    entry = Found(at=address(31), state=legs, response_s=0.1)
    found = replace(where.found, devices={"a": entry})
    (move,), hazards = _moves(replace(where, plan=plan, found=found))
    assert hazards == []
    assert {thing[:2] for thing in move.takes} == {
        (kind, net) for kind in ("number", "group") for net in ("media", "blue")
    }
