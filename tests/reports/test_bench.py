"""The bench in words."""

import json
from dataclasses import replace

from orchestrator.facility.change import Change
from orchestrator.facility.found import Identity
from orchestrator.facility.step import Assigned, Hearing
from orchestrator.facility.wanted import AskedSource, Unit
from orchestrator.planning.bench import Amiss
from orchestrator.reports import bench as report
from orchestrator.reports.bench import UnitEnd, UnitState
from tests.planning.test_bench import _unit

UNIT = _unit()
TWIN = replace(UNIT, device=replace(UNIT.device, name="twin", serial=None))


def _one_line(lines: list[str] | tuple[str, ...]) -> str:
    return " ".join(" ".join(lines).split())


def test_the_card_says_which_unit_which_cable_and_which_address() -> None:
    """And that no gateway belongs there."""
    said = _one_line(report.card(UNIT, 1, 2, [UNIT, TWIN]))
    for words in (
        "Unit 1 of 2: new, for north",
        "serial SN-new",
        "the bench cable, to this unit and no other",
        "192.0.2.254 with prefix length 24",
        "no gateway there",
        "192.0.2.50, until it is readdressed",
    ):
        assert words in said
    assert "no serial in the plan yet" in _one_line(report.card(TWIN, 1, 2, [UNIT, TWIN]))


def test_units_at_one_factory_address_are_kept_apart() -> None:
    """The question names the others, which would answer there too."""
    assert "twin will answer at 192.0.2.50 too" in _one_line(report.plug_question(UNIT, [TWIN]))
    assert "will answer" not in _one_line(report.plug_question(UNIT, []))
    found = Identity(serial="X-1", model="M")
    assert "M serial X-1" in _one_line(report.serial_question(TWIN, found))
    assert "192.0.2.0/24" in _one_line(report.by_hand_question(UNIT))


def test_what_is_amiss_comes_with_its_fix() -> None:
    """And nothing was sent."""
    said = _one_line(report.amiss_lines([Amiss("two ways", "take one down")]))
    assert "nothing is sent" in said
    assert "- two ways fix: take one down" in said


def test_leftovers_are_what_the_playbook_does_not_name() -> None:
    """Of this unit; what is named is no leftover."""
    asked = replace(
        UNIT.asked, unit=Unit.REUSED, sources={"named": AskedSource(name="named", number=501)}
    )
    unit = replace(UNIT, asked=asked)

    def change(name: str, setting: str, found: object, wanted: object, **more: str) -> Change:
        return Change(
            device="new", room="north", source=name, setting=setting,
            as_found=found, wanted=wanted, **more,  # type: ignore[arg-type]  # a test's values
        )  # fmt: skip

    changes = [
        change("named", "number", Assigned(7), Assigned(501)),
        change("old", "enabled", True, False),
        Change(
            device="new", room="north", destination="in", setting="listens_to",
            as_found=Hearing(102), wanted=Hearing(),
        ),
        replace(change("other", "enabled", True, False), device="else"),
    ]  # fmt: skip
    said = _one_line(report.leftovers(unit, changes))
    assert "old: switch" in said
    assert "in: listens to" in said
    assert "named" not in said.replace("not named", "")
    assert "other" not in said
    assert "Nothing is left over" in _one_line(report.leftovers(unit, []))


def test_the_cable_is_named_with_where_it_goes() -> None:
    """And how long the unit is looked for."""
    said = _one_line(report.cable_lines(UNIT, "127.44.3.50", 300))
    assert "MOVE THE CABLE NOW" in said
    assert "network media in north" in said
    assert "127.44.3.50, for 300 s" in said


def test_the_end_unit_by_unit() -> None:
    """What to do next only where all have joined; 80 columns."""
    joined = UnitEnd(device="new", state=UnitState.JOINED, serial="SN-new", run="r-1")
    paused = UnitEnd(device="twin", state=UnitState.PAUSED, run="r-2", why="nobody answers " * 9)
    assert "All have joined" in report.text([joined])
    text = report.text([joined, paused])
    assert "All have joined" not in text
    assert "PAUSED" in text
    assert max(map(len, text.splitlines())) <= 80
    document = json.loads(json.dumps(report.as_json([joined, paused])))
    assert document["schema"] == "cutsheet/bench/1"
    assert document["units"][0] == {
        "device": "new", "serial": "SN-new", "state": "joined", "run": "r-1", "why": "",
    }  # fmt: skip
