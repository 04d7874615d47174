from orchestrator.facility.step import StepKind
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.ordering.phases import hand_overs, phases
from tests.planning import hand
from tests.planning.scenes import Box


def _graph(rooms: str, *orders: tuple[int, int]) -> Graph:
    """One draft a letter, in the room of that letter."""
    graph = Graph()
    for number, room in enumerate(rooms):
        graph.add(
            Draft(
                kind=StepKind.SAVE,
                device=f"d{number}",
                room=room,
                at="127.44.3.31",
                as_found=None,
                wanted=None,
            )
        )
    for first, then in orders:
        graph.order(first, then)
    return graph


def _rooms(graph: Graph, *wanted: tuple[str, ...]) -> list[tuple[str, ...]]:
    groups, _ = phases(graph, wanted)
    return [phase.rooms for phase in groups]


def test_rooms_without_hand_overs_come_in_the_order_of_their_steps() -> None:
    """Each is a phase of its own."""
    assert _rooms(_graph("bac")) == [("b",), ("a",), ("c",)]


def test_a_room_that_hands_over_comes_first() -> None:
    """A step in a waits for one in b: b is the earlier phase, and each draft knows its own."""
    graph = _graph("ab", (1, 0))
    assert _rooms(graph) == [("b",), ("a",)]
    assert [draft.phase for draft in graph.drafts] == [1, 0]
    (over,) = hand_overs(graph)
    assert (over.giver, over.taker) == ("b", "a")


def test_rooms_that_hand_over_both_ways_go_together() -> None:
    """The smallest rooms that must go together, and no others."""
    assert _rooms(_graph("abab" + "c", (0, 1), (3, 2))) == [("a", "b"), ("c",)]


def test_the_users_order_is_kept_where_it_works() -> None:
    """Also where the tool would have chosen another; rooms left out come after."""
    assert _rooms(_graph("abc"), ("c",), ("a",)) == [("c",), ("a",), ("b",)]
    assert _rooms(_graph("abc"), ("c", "a")) == [("c", "a"), ("b",)]


def test_rooms_without_steps_are_no_phase() -> None:
    """The user may name rooms in which nothing is done."""
    assert _rooms(_graph("ab"), ("x",), ("b", "y"), ("a",)) == [("b",), ("a",)]


def test_an_order_that_does_not_work_is_refused_with_one_that_does() -> None:
    """The hazard names the devices, and offers the order that works, which is then used."""
    graph = _graph("abc", (1, 0))
    groups, (hazard,) = phases(graph, [("a",), ("b",), ("c",)])
    assert (hazard.name, hazard.blocks) == ("split-phases", True)
    assert (
        "the save of d0, which goes with a, has to wait for the save of d1, which goes with b"
        in (hazard.what)
    )
    assert hazard.fix.startswith("this order works: b, then a, then c;")
    assert [phase.rooms for phase in groups] == [("b",), ("a",), ("c",)]


def test_what_is_offered_is_near_to_what_was_asked() -> None:
    """Rooms that nobody hands over to stay in the user's order."""
    graph = _graph("abcd", (1, 0))
    _, (hazard,) = phases(graph, [("d",), ("a",), ("c",), ("b",)])
    assert hazard.fix.startswith("this order works: d, then c, then b, then a;")


def test_rooms_that_must_go_together_are_offered_together() -> None:
    """The user wanted them apart."""
    _, (hazard,) = phases(_graph("abab", (0, 1), (3, 2)), [("a",), ("b",)])
    assert hazard.fix.startswith("this order works: a and b;")


def test_more_of_the_same_is_counted() -> None:
    """Two steps in a wait for b."""
    _, (hazard,) = phases(_graph("aabb", (2, 0), (3, 1)), [("a",), ("b",)])
    assert "(and 1 more like it)" in hazard.what


def test_a_planned_exchange_between_rooms_goes_together() -> None:
    """Two rooms exchange numbers; asked apart, that is refused; together it is planned."""
    boxes = hand.ring()
    boxes["b"].room = "south"
    refused = hand.planned(boxes, phases=(("north",), ("south",)))
    assert "split-phases" in {h.name for h in refused.hazards if h.blocks}
    assert "north and south" in next(h.fix for h in refused.hazards if h.name == "split-phases")
    _, sequence = hand.safe(boxes, phases=(("north", "south"),))
    assert {s.phase for s in sequence.steps} == {0}


def test_a_planned_chain_between_rooms_has_an_order() -> None:
    """North waits for south, so south goes first; the other way round is refused."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(32, {"s": (312, True)}, wants={"s": (320, None)}, room="south"),
    }
    _, sequence = hand.safe(boxes)
    assert [phase.rooms for phase in sequence.phases] == [("south",), ("north",)]
    refused = hand.planned(boxes, phases=(("north",), ("south",)))
    (hazard,) = [h for h in refused.hazards if h.blocks]
    assert hazard.fix.startswith("this order works: south, then north;")


def test_an_order_that_does_not_work_stands_once_its_price_is_accepted() -> None:
    """The exchange is split over both phases, and safe; a/s waits silent on transit between."""
    boxes = hand.ring()
    boxes["b"].room = "south"
    boxes["c"].hears["in"] = 312
    asked = (("north",), ("south",))
    where, sequence = hand.safe(boxes, phases=asked, accepted={"split-phases": "vans are late"})
    assert [phase.rooms for phase in sequence.phases] == list(asked)
    assert {s.phase for s in sequence.steps} == {0, 1}
    assert sequence.phases[1].accepts == ("a/s silent from phase 1 to phase 2, on transit 2990",)
    assert hand.verdict(where, sequence) == []
