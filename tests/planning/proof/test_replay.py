from dataclasses import replace
from ipaddress import IPv4Network

from orchestrator.facility.plan import Interface, Network, PlannedSource
from orchestrator.facility.step import StepKind
from orchestrator.facility.wanted import Unit
from orchestrator.planning.proof.held import Span
from orchestrator.planning.proof.replay import Replay
from tests.planning import hand
from tests.planning.scenes import Box, address, group

K = StepKind


Thing = tuple[str, str, int | str]


def _times(replay: Replay) -> dict[Thing, list[Span]]:
    """All holdings of each thing that is held."""
    return {held.thing: held.spans for held in replay.held if held.spans}


def _spans(replay: Replay, thing: Thing) -> list[tuple[str, str, str]]:
    """Each holding of a thing: the owner, the step that takes it, the step that lets it go."""
    spans = _times(replay)[thing]
    return [(span.owner, _id(span, "taken"), _id(span, "proved")) for span in spans]


def _id(span: Span, what: str) -> str:
    step = getattr(span, what)
    return step.id if step is not None else ""


def test_a_renumber_ends_one_holding_and_begins_another() -> None:
    """312 is b/s's from the survey to its renumber, and a/s's from its renumber on."""
    where, sequence = hand.safe(hand.chain())
    replay = hand.case(where, sequence).replay
    a, b = (hand.step(sequence, K.RENUMBER, name) for name in ("a/s", "b/s"))
    expected = [("a/s", a.id, ""), ("b/s", "", b.id)]
    assert sorted(_spans(replay, ("number", "media", 312))) == expected
    assert sorted(_spans(replay, ("group", "media", group(312)))) == expected


def test_an_address_is_let_go_only_when_the_confirm_has_proved_it() -> None:
    """Device b holds its old address until its confirm, not its readdress, is proved."""
    where, sequence = hand.safe(hand.readdress())
    replay = hand.case(where, sequence).replay
    span = next(s for s in _times(replay)["address", "media", address(32)] if s.owner == "b")
    assert span.released == hand.step(sequence, K.READDRESS, "b")
    assert span.proved == hand.step(sequence, K.CONFIRM, "b")


def test_a_device_in_transit_holds_three_addresses_in_turn() -> None:
    """The old one, the one lent, the new one; the last is kept."""
    where, sequence = hand.safe(hand.exchange())
    replay = hand.case(where, sequence).replay
    twice = next(s.device for s in sequence.steps if str(s.wanted).endswith(".230"))
    times = [
        (thing[2], span.released is None)
        for thing, spans in _times(replay).items()
        for span in spans
        if thing[0] == "address" and span.owner == twice
    ]
    old, new = address(31), address(32)
    if twice == "b":
        old, new = new, old
    assert sorted(times) == sorted([(old, False), (address(230), False), (new, True)])


def test_a_unit_on_the_bench_holds_nothing_until_it_joins() -> None:
    """The joiner's 311 on the bench is nobody's business; 501 is its own from the readdress on."""
    where, sequence = hand.safe(hand.join())
    replay = hand.case(where, sequence).replay
    assert ("number", "media", 311) not in _times(replay)  # a/s is not touched, nor met
    move = hand.step(sequence, K.READDRESS, "new")
    assert _spans(replay, ("number", "media", 501)) == [("new/s", move.id, "")]
    assert not [thing for thing in _times(replay) if thing[1] == "bench"]


def test_an_absent_device_holds_what_the_plan_gives_it_for_ever() -> None:
    """No answer is not vacant: address, sources' numbers and groups, and further numbers."""
    boxes = hand.chain()
    source = PlannedSource(name="x", number=611, groups=(group(611),))
    boxes["gone"] = Box(61, absent=True, planned={"x": source}, numbers=(611, 612))
    where, sequence = hand.safe(boxes)
    replay = hand.case(where, sequence).replay
    for thing, owner in (
        (("address", "media", address(61)), "gone"),
        (("number", "media", 611), "gone/x"),
        (("group", "media", group(611)), "gone/x"),
        (("number", "media", 612), "gone"),
    ):
        assert _spans(replay, thing) == [(owner, "", "")]


def test_an_absent_unit_on_the_bench_holds_nothing() -> None:
    """Planned there, and not there now: it is no concern of the facility."""
    where, sequence = hand.safe({**hand.chain(), "gone": Box(61, absent=True, numbers=(611,))})
    bench = (Interface("main", "bench", "127.0.2.61"),)
    replay = hand.case(hand.with_device(where, "gone", interfaces=bench), sequence).replay
    assert not [span for held in replay.held for span in held.spans if span.device == "gone"]


def test_a_source_is_audible_from_enable_to_disable() -> None:
    """a/s is audible on 311 until its disable, and on 312 from its enable on."""
    where, sequence = hand.safe(hand.ring())
    times = [t for t in hand.case(where, sequence).replay.audible if t.owner == "a/s"]
    off, on = (hand.step(sequence, kind, "a/s") for kind in (K.DISABLE, K.ENABLE))
    assert [(t.begins, t.ends) for t in times] == [(None, off), (on, None)]
    assert ("number", "media", 311) in [held.thing for held in times[0].held]
    assert ("number", "media", 312) in [held.thing for held in times[1].held]


def test_a_source_renumbered_while_enabled_is_audible_on_both() -> None:
    """Where the disable is missing, the hearing changes with the renumber itself."""
    where, sequence = hand.safe(hand.chain())
    renumber = hand.step(sequence, K.RENUMBER, "b/s")
    wrong = hand.dropped(sequence, hand.step(sequence, K.DISABLE, "b/s"))
    times = [t for t in hand.case(where, wrong).replay.audible if t.owner == "b/s"]
    ends = [(t.begins and t.begins.id, t.ends and t.ends.id) for t in times]
    assert ends == [(None, renumber.id), (renumber.id, None)]


def test_a_destination_points_from_repoint_to_repoint() -> None:
    """c/in points at 311 until its repoint, and at 312 from then on."""
    where, sequence = hand.safe(hand.ring())
    times = [p for p in hand.case(where, sequence).replay.pointed if p.destination.device == "c"]
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    assert [(p.begins, p.ends) for p in times] == [(None, repoint), (repoint, None)]
    assert [held.thing for held in times[0].held] == [("number", "media", 311)]
    assert [held.thing for held in times[1].held] == [("number", "media", 312)]


def test_a_confirm_belongs_to_the_readdress_to_its_address() -> None:
    """Each of two readdresses of one device has its own confirm."""
    where, sequence = hand.safe(hand.exchange())
    case = hand.case(where, sequence)
    moves = [s for s in sequence.steps if s.kind is K.READDRESS]
    confirms = [case.replay.confirm_of(move) for move in moves]
    assert all(c is not None and c.wanted == m.wanted for m, c in zip(moves, confirms, strict=True))
    assert len({c.id for c in confirms if c is not None}) == len(moves)


def test_a_bench_is_no_network_of_the_facility() -> None:
    """An address on a bench, or on no network at all, has no network for the proof."""
    where, sequence = hand.safe({"new": Box(50, at="127.0.2.50", to=address(50), unit=Unit.FRESH)})
    replay = hand.case(where, sequence).replay
    assert replay.net("127.0.2.50") is None
    assert replay.net("127.99.9.9") is None
    assert replay.net(address(50)) == "media"
    other = Network(name="other", subnet=IPv4Network("127.99.9.0/24"))
    plan = replace(where.plan, networks={**where.plan.networks, "other": other})
    assert hand.case(replace(where, plan=plan), sequence).replay.net("127.99.9.9") == "other"
