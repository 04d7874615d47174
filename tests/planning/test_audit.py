from dataclasses import replace

from orchestrator.facility.found import Found
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.plan import ListensTo, PlannedSource, Ref
from orchestrator.facility.traits import Hears
from orchestrator.facility.wanted import Auto, Unit
from orchestrator.planning.audit import audit
from tests.planning.scenes import Box, address, group, scene


def _audit(**boxes: Box) -> dict[str, Hazard]:
    return {hazard.name: hazard for hazard in audit(scene(boxes))}


def _planned(**values: int | str | bool) -> dict[str, PlannedSource]:
    return {"s": replace(PlannedSource(name="s"), **values)}  # type: ignore[arg-type]  # a test's shorthand


def test_a_facility_as_planned_has_no_findings() -> None:
    """Numbers, switches, labels and pointers as the plan says; absent devices are no finding."""
    a = Box(31, {"s": (311, True)}, planned=_planned(number=311, enabled=True, label=""))
    c = Box(33, hears={"in": 311}, planned_hears={"in": ListensTo(source=Ref("a", "s"))})
    gone = Box(61, absent=True, planned=_planned(number=611))
    assert _audit(a=a, c=c, gone=gone) == {}


def test_duplicates() -> None:
    """A number with its group is one finding; an address another; a bench is apart."""
    found = _audit(
        a=Box(31, {"s": (311, True)}),
        b=Box(31, {"s": (311, False)}),
        new=Box(50, {"s": (311, True)}, at="127.0.2.50", to=address(50), unit=Unit.FRESH),
    )
    assert {(h.name, h.rule, h.grade) for h in found.values()} == {
        ("duplicate:311", "H1", Grade.STOPS),
        (f"duplicate:{address(31)}", "H2", Grade.STOPS),
    }
    assert found["duplicate:311"].where == ("a/s", "b/s")


def test_what_is_left_on_transit() -> None:
    """A number or an address set aside for moves is held: a move was left half-way."""
    found = _audit(a=Box(31, {"s": (2990, False)}), b=Box(230))
    assert set(found) == {"transit:a/s", "transit:b"}
    assert {h.rule for h in found.values()} == {"H4"}


def test_a_source_that_differs_from_the_plan() -> None:
    """Number and switch need a name, a label is for information."""
    planned = _planned(number=312, enabled=False, label="News")
    found = _audit(a=Box(31, {"s": (311, True)}, planned=planned))
    grades = {name.rsplit(":", 1)[1]: hazard.grade for name, hazard in found.items()}
    assert grades == {
        "number": Grade.NEEDS_NAME,
        "enabled": Grade.NEEDS_NAME,
        "label": Grade.INFORMATION,
    }
    assert "it is on and should not be" in found["differs:a/s:enabled"].what
    assert "enabled is on, the plan says off" in found["differs:a/s:enabled"].what


def test_what_a_playbook_wants_is_no_difference() -> None:
    """Until the run is adopted the playbook may differ from the plan; ``auto`` is any number."""
    for number in (311, Auto.AUTO):
        box = Box(31, {"s": (311, True)}, planned=_planned(number=312, enabled=False))
        box.wants = {"s": (number, True)}
        assert _audit(a=box) == {}
    box.wants = {"s": (313, True)}
    assert set(_audit(a=box)) == {"differs:a/s:number"}


def test_a_destination_that_hears_another() -> None:
    """It hears b/s and should hear a/s: that stops; if it hears nobody, it needs a name."""
    hears = {"in": ListensTo(source=Ref("a", "s"))}
    boxes = {
        "a": Box(31, {"s": (311, True)}),
        "b": Box(32, {"s": (321, True)}),
        "c": Box(33, hears={"in": 321}, planned_hears=hears),
    }
    found = _audit(**boxes)["hears:c/in"]
    assert (found.rule, found.grade) == ("H8", Grade.STOPS)
    assert "points at 321 and hears b/s; the plan says a/s" in found.what
    boxes["c"].hears["in"] = 399
    assert _audit(**boxes)["hears:c/in"].grade is Grade.NEEDS_NAME
    boxes["c"].hears["in"] = 321
    boxes["c"].listens["in"] = ListensTo(source=Ref("b", "s"))
    assert _audit(**boxes) == {}


def test_a_destination_of_a_source_that_is_never_read() -> None:
    """It points where the plan has that source, by number or group: nothing is held against it."""
    hears = {"in": ListensTo(source=Ref("gone", "s"))}
    gone = Box(61, absent=True, planned=_planned(number=611))
    for pointer, by in ((611, Hears.NUMBER), (group(611), Hears.GROUP)):
        assert _audit(gone=gone, c=Box(33, hears={"in": pointer}, planned_hears=hears, by=by)) == {}
    astray = Box(33, hears={"in": 612}, planned_hears=hears)
    assert set(_audit(gone=gone, c=astray)) == {"hears:c/in"}


def test_a_unit_on_the_bench_hears_what_it_will() -> None:
    """Its pointers are nobody's business until it joins; nor are destinations it has not."""
    hears = {"in": ListensTo(source=Ref("a", "s")), "other": ListensTo(source=Ref("a", "s"))}
    new = Box(50, hears={"in": 5}, planned_hears=hears, at="127.0.2.50", to=address(50))
    a = Box(31, {"s": (311, True)})
    assert _audit(a=a, new=new) == {}
    assert set(_audit(a=a, c=Box(33, hears={"in": 311}, planned_hears=hears))) == set()


def test_what_would_not_survive_a_power_cycle() -> None:
    """A device that says it runs on something unsaved; one that can't say is no finding."""
    where = scene({"a": Box(31), "b": Box(32)})
    entry = Found(at=address(31), state=replace(where.states["a"], unsaved=True), response_s=0.1)
    devices = {**where.found.devices, "a": entry}
    (hazard,) = audit(replace(where, found=replace(where.found, devices=devices)))
    assert (hazard.name, hazard.rule, hazard.grade) == ("unsaved:a", "H9", Grade.NEEDS_NAME)


def test_the_worst_comes_first() -> None:
    """By grade, then by name."""
    found = _audit(
        a=Box(31, {"s": (311, True)}, planned=_planned(label="News")),
        b=Box(32, {"s": (311, True)}, planned=_planned(enabled=False)),
    )
    assert list(found) == ["duplicate:311", "differs:b/s:enabled", "differs:a/s:label"]
