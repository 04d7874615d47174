from dataclasses import replace

from orchestrator.facility.found import Found, Identity
from orchestrator.facility.step import Assigned, Hearing, Sequence, Step, StepKind
from orchestrator.planning.proof.values import Values
from orchestrator.planning.scene import Scene
from tests.planning import hand
from tests.planning.scenes import Box, address, group

K = StepKind


def _values(where: Scene, sequence: Sequence) -> set[tuple[str, str]]:
    values = Values(hand.case(where, sequence))
    return hand.said([each for own in values.own.items() for each in values.values(*own)])


def _sources(where: Scene, sequence: Sequence) -> set[tuple[str, str]]:
    values = Values(hand.case(where, sequence))
    return hand.said([each for own in values.own.items() for each in values.sources(*own)])


def _identities(where: Scene, sequence: Sequence) -> list[str]:
    values = Values(hand.case(where, sequence))
    hazards = [each for own in values.own.items() for each in values.identity(*own)]
    assert {hazard.rule for hazard in hazards} <= {"H7"}
    return [hazard.where[1] for hazard in hazards]


def _everything() -> dict[str, Box]:
    boxes = hand.ring()
    boxes["a"].to = address(40)
    boxes["a"].labels["s"] = "News"
    boxes["a"].settings["domain"] = 0
    boxes["a"].set_to["domain"] = 3
    return boxes


def test_each_kind_of_write_expects_what_was_found() -> None:
    """Whatever a step writes, another hand's value in ``as_found`` is named with the step."""
    where, sequence = hand.safe(_everything())
    assert _values(where, sequence) == set()
    kinds = {K.DISABLE, K.ENABLE, K.RENUMBER, K.SET, K.REPOINT, K.READDRESS}
    written = [step for step in sequence.steps if step.kind in kinds]
    assert {step.kind for step in written} == kinds
    for step in written:
        other = "another hand's"
        found = _values(where, hand.changed(sequence, replace(step, as_found=other)))
        assert found == {("H7", step.id)}


def test_a_write_follows_the_write_before_it() -> None:
    """The way home of a number lent expects the transit number, not what the survey found."""
    where, sequence = hand.safe(hand.ring())
    home = [
        s for s in sequence.steps if isinstance(s.as_found, Assigned) and s.as_found.number == 2990
    ]
    assert len(home) == 1
    wrong = hand.changed(sequence, replace(home[0], as_found=Assigned(311, (group(311),))))
    assert _values(where, wrong) == {("H7", home[0].id)}


def test_two_writes_to_one_thing_in_no_order() -> None:
    """Two repoints of one destination that may come either way round are named."""
    where, sequence = hand.safe(hand.ring())
    repoint = hand.step(sequence, K.REPOINT, "c/in")
    extra = replace(repoint, id="extra", as_found=repoint.wanted, wanted=Hearing(number=313))
    found = _values(where, replace(sequence, steps=(*sequence.steps, extra)))
    assert {rule for rule, _ in found} == {"H7"}
    assert found
    ordered = replace(extra, after=(repoint.id,))
    assert _values(where, replace(sequence, steps=(*sequence.steps, ordered))) == set()


def test_a_device_whose_serial_is_not_the_plans_is_not_written() -> None:
    """Another unit answers at the address."""
    where, sequence = hand.safe(hand.chain())
    assert _identities(where, sequence) == []
    assert _identities(hand.with_device(where, "b", serial="SN-other"), sequence) == ["b"]


def test_a_device_without_serial_needs_a_name() -> None:
    """The plan does not say which unit it is, until a person accepts that by name."""
    where, sequence = hand.safe(hand.chain())
    unknown = hand.with_device(where, "b", serial=None)
    assert _identities(unknown, sequence) == ["b"]
    assert _identities(replace(unknown, accepted={"serial:b": "read the label"}), sequence) == []


def test_a_serial_accepted_does_not_excuse_a_wrong_one() -> None:
    """The acceptance is for a plan that says nothing, not for a unit that is another."""
    where, sequence = hand.safe(hand.chain())
    accepted = replace(where, accepted={"serial:b": "read the label"})
    assert _identities(hand.with_device(accepted, "b", serial="SN-other"), sequence) == ["b"]
    entry = where.found.devices["b"]
    assert isinstance(entry, Found)
    other = replace(entry.state, identity=Identity(serial="SN-9", model="T-1"))
    devices = {**where.found.devices, "b": replace(entry, state=other)}
    swapped = replace(accepted, found=replace(where.found, devices=devices))
    assert _identities(swapped, sequence) == ["b"]


def test_h3_a_renumber_while_enabled_is_named() -> None:
    """Without its disable, or before it, or after its enable."""
    where, sequence = hand.safe(hand.chain())
    assert _sources(where, sequence) == set()
    off, renumber, on = (
        hand.step(sequence, kind, "b/s") for kind in (K.DISABLE, K.RENUMBER, K.ENABLE)
    )
    assert ("H3", renumber.id) in _sources(where, hand.dropped(sequence, off))
    assert ("H3", renumber.id) in _sources(where, hand.before(sequence, renumber, off))
    assert ("H3", renumber.id) in _sources(where, hand.before(sequence, on, renumber))


def test_h3_a_source_s_own_steps_stand_in_one_order() -> None:
    """A renumber that does not wait for its own disable is named."""
    where, sequence = hand.safe(hand.chain())
    renumber = hand.step(sequence, K.RENUMBER, "b/s")
    wrong = hand.changed(sequence, replace(renumber, after=()))
    assert {rule for rule, _ in _sources(where, wrong)} == {"H3"}
    assert _sources(where, wrong)


def test_h4_nothing_is_enabled_on_a_transit_number() -> None:
    """An enable between the way out and the way home is named."""
    where, sequence = hand.safe(hand.ring())
    home = next(
        s for s in sequence.steps if isinstance(s.as_found, Assigned) and s.as_found.number == 2990
    )
    enable = hand.step(sequence, K.ENABLE, home.subject)
    wrong = hand.before(sequence, enable, home)
    out = next(s for s in sequence.steps if s.wanted == home.as_found)
    wrong = hand.waiting(wrong, enable, out)
    assert ("H4", enable.id) in _sources(where, wrong)


def test_steps_of_several_sources_do_not_mix() -> None:
    """Two sources of one device have each their own order."""
    boxes = {
        "a": Box(
            31,
            {"s": (311, True), "t": (312, True)},
            wants={"s": (313, None), "t": (314, None)},
        )
    }
    where, sequence = hand.safe(boxes)
    s, t = (hand.step(sequence, K.RENUMBER, f"a/{name}") for name in "st")
    assert _sources(where, sequence) == set()
    assert isinstance(s, Step)
    assert t.id not in s.after
