from dataclasses import replace

from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import Network, Ref
from orchestrator.facility.step import AddressValue, Assigned, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.aims.holders import holders
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.ordering.lending import break_cycles, device_order
from orchestrator.planning.ordering.moves import link, moves
from tests.planning import hand
from tests.planning.scenes import MEDIA, NUMBERING, Box, address, group, scene

K = StepKind


def _lent(boxes: dict[str, Box], **about: object) -> dict[str, str]:
    planned = hand.planned(boxes, **about)
    assert not planned.stopped, planned.hazards
    return dict(planned.lent)


def _media(first: int, last: int) -> Network:
    return replace(MEDIA, numbering=replace(NUMBERING, transit=NumberRange(first, last)))


def test_the_source_that_is_off_anyway_is_lent() -> None:
    """Nobody misses b/s."""
    boxes = hand.ring()
    del boxes["c"]
    boxes["b"].sources["s"] = (312, False)
    assert _lent(boxes) == {"b/s": "2990"}


def test_the_source_with_the_fewest_listeners_is_lent() -> None:
    """c/in listens to a/s, so b/s goes through transit; and the other way round."""
    assert _lent(hand.ring()) == {"b/s": "2990"}
    boxes = hand.ring()
    boxes["c"].hears["in"] = 312
    assert _lent(boxes) == {"a/s": "2990"}


def test_what_feeds_an_on_air_destination_weighs_before_everything() -> None:
    """One on-air listener of a/s outweighs three of b/s."""
    boxes = hand.ring()
    boxes["c"].hears = {"in": 311, "x": 312, "y": 312, "z": 312}
    planned = hand.planned(boxes, on_air=(Ref("c", "in"),))
    assert dict(planned.lent) == {"b/s": "2990"}


def test_between_equals_the_one_without_saves_is_lent() -> None:
    """A device that boots with what is saved would cost one save more."""
    boxes = hand.ring()
    del boxes["c"]
    boxes["a"].saves = Saves.ON_SAVE
    assert _lent(boxes) == {"b/s": "2990"}


def test_transit_that_somebody_leaves_is_lent_after_that() -> None:
    """Half-way, c/s stands on the only transit number; it goes home first, then the ring turns."""
    boxes = hand.ring()
    boxes["c"] = Box(33, {"s": (2990, False)}, wants={"s": (331, None)})
    planned = hand.planned(boxes, media=_media(2990, 2990))
    assert not planned.stopped, planned.hazards
    assert len(planned.lent) == 1
    order = [
        (step.subject, str(step.wanted))
        for step in planned.sequence.steps
        if step.kind is K.RENUMBER
    ]
    lent = next(iter(planned.lent))
    assert order.index(("c/s", "331")) < order.index((lent, "2990"))


def test_transit_that_somebody_holds_is_not_lent() -> None:
    """2990 is in use by a source that stays; the next one is lent."""
    boxes = {**hand.ring(), "d": Box(34, {"s": (2990, False)})}
    assert _lent(boxes) == {"b/s": "2991"}


def test_no_transit_at_all_is_a_hazard() -> None:
    """Everything set aside is in use."""
    boxes = {**hand.ring(), "d": Box(34, {"s": (2990, False)})}
    planned = hand.planned(boxes, media=_media(2990, 2990))
    assert [h.name for h in planned.hazards] == ["no-transit:a/s"]
    assert "a/s (to 312) and b/s (to 311) go round in a ring" in planned.hazards[0].what
    assert "no transit number is free" in planned.hazards[0].what


def _two_rings_at_once() -> dict[str, Box]:
    """Two rings, knotted: the sources of two devices that exchange addresses exchange numbers."""
    boxes = {}
    for name, host, to in (("a", 31, 32), ("b", 32, 31)):
        boxes[name] = Box(host, to=address(to))
    boxes["a"].sources = {"s": (311, True), "t": (312, True)}
    boxes["b"].sources = {"s": (321, True), "t": (322, True)}
    boxes["a"].wants = {"s": (321, None), "t": (322, None)}
    boxes["b"].wants = {"s": (311, None), "t": (312, None)}
    return boxes


def test_rings_one_after_another_share_one_transit_number() -> None:
    """Two separate rings, one number set aside: enough."""
    planned = hand.planned(_two_rings_at_once(), media=_media(2990, 2990))
    assert not planned.stopped
    assert sorted(planned.lent.values()) == ["127.44.3.230", "2990", "2990"]


def test_a_knot_that_needs_two_at_once_says_so() -> None:
    """Numbers and groups move apart, in one knot that needs two lent at one time."""
    boxes = {}
    goals = {"a": 2, "b": 3, "c": 1}
    for place, (name, goal) in enumerate(goals.items(), 1):
        boxes[name] = Box(30 + place, {"s": (place, True)}, wants={"s": (goal, None)})
    where = scene(boxes, media=_media(2990, 2990))
    crossed = {"a": 3, "b": 1, "c": 2}
    asked = {
        name: replace(
            wish,
            sources={"s": replace(wish.sources["s"], groups=(group(crossed[name]),))},
        )
        for name, wish in where.asked.items()
    }
    where = replace(where, asked=asked)
    found = moves(where, targets(where).states)
    assert link(found, holders(where), where) == []
    _, hazards, exact = break_cycles(found, holders(where), where, lambda _: (0,))
    assert exact
    assert [h.name for h in hazards] == ["too-little-transit:a/s"]
    assert hazards[0].what == (
        "a/s (to 2), b/s (to 3) and c/s (to 1) wait for one another in a knot that can't be undone "
        "with what transit number is free to be lent: 2990"
    )
    assert hazards[0].fix.startswith(
        "set 1 more aside in the plan (networks: media: numbering: transit)"
    )
    more = replace(where.plan, networks={**where.plan.networks, "media": MEDIA})
    where = replace(where, plan=more)
    found = moves(where, targets(where).states)
    link(found, holders(where), where)
    split, hazards, _ = break_cycles(found, holders(where), where, lambda _: (0,))
    assert hazards == []
    assert sum(move.lent == "out" for move in split) == 2
    assert len(split) == 5


def test_addresses_borrow_a_transit_address() -> None:
    """Two devices exchange addresses: one goes through 127.44.3.230, and is confirmed twice."""
    where, sequence = hand.safe(hand.exchange())
    stops = [
        s.wanted.address
        for s in sequence.steps
        if s.kind is K.READDRESS and isinstance(s.wanted, AddressValue)
    ]
    assert len(stops) == 3
    assert stops[0] == "127.44.3.230"
    assert hand.verdict(where, sequence) == []


def test_a_ring_of_addresses_without_transit_is_h2() -> None:
    """No transit address is set aside."""
    planned = hand.planned(hand.exchange(), media=replace(MEDIA, transit=()))
    assert [(h.name, h.rule) for h in planned.hazards] == [("no-transit:a", "H2")]
    assert "(networks: media: transit)" in planned.hazards[0].fix


def test_a_lent_number_brings_its_group() -> None:
    """On transit the source streams to the transit number's own group."""
    _, sequence = hand.safe(hand.ring())
    out = next(s for s in sequence.steps if s.wanted == Assigned(2990, (group(2990),)))
    assert out.kind is K.RENUMBER


def test_transit_used_again_waits_until_it_is_free() -> None:
    """The second borrower of one transit number starts only after the first went home."""
    boxes = {}
    for host in (31, 32, 33, 34):
        boxes[f"d{host}"] = Box(host, {"s": (host * 10, True)})
    for one, other in ((31, 32), (33, 34)):
        boxes[f"d{one}"].wants["s"] = (other * 10, None)
        boxes[f"d{other}"].wants["s"] = (one * 10, None)
    where, sequence = hand.safe(boxes, media=_media(2990, 2990))
    outs = [s for s in sequence.steps if isinstance(s.wanted, Assigned) and s.wanted.number == 2990]
    homes = [
        s for s in sequence.steps if isinstance(s.as_found, Assigned) and s.as_found.number == 2990
    ]
    assert len(outs) == len(homes) == 2
    case = hand.case(where, sequence)
    assert any(
        case.order.before(home, out) for home in homes for out in outs if out.device != home.device
    )


def test_readdress_is_last_but_for_a_unit_that_leaves() -> None:
    """A device's readdress comes after its renumbers; a leaving unit's renumbers come after."""
    stays = scene({"a": Box(31, {"s": (311, True)}, to=address(40), wants={"s": (320, None)})})
    found = moves(stays, targets(stays).states)
    order = device_order(found)
    renumber, readdress = (
        next(i for i, m in enumerate(found) if bool(m.source) is numbered)
        for numbered in (True, False)
    )
    assert order[readdress] == {renumber}
    assert renumber not in order
    leaves = scene(
        {
            "a": Box(
                31,
                {"s": (311, True)},
                exact={"main": ("127.0.2.9", 24, None)},
                wants={"s": (5, None)},
            )
        }
    )
    found = moves(leaves, targets(leaves).states)
    order = device_order(found)
    assert order[renumber] == {readdress}
    assert readdress not in order
