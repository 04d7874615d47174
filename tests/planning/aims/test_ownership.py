from dataclasses import replace

from orchestrator.facility.plan import Interface, PlannedSource
from orchestrator.facility.wanted import AskedDevice, AskedSource, Auto
from orchestrator.planning.aims.ownership import auto_numbers, blocks_of, numbering_of, own_numbers
from tests.planning.scenes import NUMBERING, Box, address, scene

PLAN = scene({"a": Box(31)}).plan
DEVICE = PLAN.devices["a"]


def _asked(**values: object) -> AskedDevice:
    return replace(AskedDevice(name="a", playbook="test.yaml"), **values)  # type: ignore[arg-type]  # a test's shorthand


def _autos(*names: str) -> dict[str, AskedSource]:
    return {name: AskedSource(name=name, number=Auto.AUTO) for name in names}


def test_blocks_by_playbook_then_plan_then_address() -> None:
    """The playbook's blocks win, then the plan's, then the host part of the wanted address."""
    bare = replace(DEVICE, blocks=())
    assert blocks_of(PLAN, DEVICE, _asked(blocks=(7, 8))) == (7, 8)
    assert blocks_of(PLAN, DEVICE, _asked(addresses={"main": address(40)})) == (31,)
    assert blocks_of(PLAN, DEVICE, None) == (31,)
    assert blocks_of(PLAN, bare, None) == (31,)
    assert blocks_of(PLAN, bare, _asked(addresses={"main": address(40)})) == (40,)
    stray = replace(bare, interfaces=(Interface("main", "media", "127.99.0.1"),))
    assert blocks_of(PLAN, stray, None) == ()


def test_numbering_of_where_it_is_wanted() -> None:
    """The network of the wanted address; on a bench, that of the planned interface."""
    assert numbering_of(PLAN, DEVICE, None) == NUMBERING
    assert numbering_of(PLAN, DEVICE, _asked(addresses={"main": address(40)})) == NUMBERING
    assert numbering_of(PLAN, DEVICE, _asked(addresses={"main": "127.0.2.9"})) == NUMBERING
    bench = replace(DEVICE, interfaces=(Interface("main", "bench", "127.0.2.9"),))
    assert numbering_of(PLAN, bench, None) is None
    assert auto_numbers(PLAN, bench, _asked(sources=_autos("s"))) == {}


def test_the_first_block_starts_at_its_first_source_number() -> None:
    """Host 31 owns 310 to 319 and its first source is 311; the block after it is used whole."""
    assert list(own_numbers(NUMBERING, (31,))) == list(range(311, 320))
    assert list(own_numbers(NUMBERING, (31, 33))) == [*range(311, 320), *range(330, 340)]
    assert list(own_numbers(NUMBERING, ())) == []


def test_autos_in_the_order_of_the_playbook() -> None:
    """The first named gets the first vacant number."""
    assert auto_numbers(PLAN, DEVICE, _asked(sources=_autos("t", "s"))) == {"t": 311, "s": 312}


def test_a_number_planned_in_the_own_blocks_is_kept() -> None:
    """Also where others come first; one planned outside the blocks is not."""
    planned = {
        "s": PlannedSource(name="s", number=315),
        "t": PlannedSource(name="t", number=999),
    }
    device = replace(DEVICE, sources=planned)
    found = auto_numbers(PLAN, device, _asked(sources=_autos("t", "u", "s")))
    assert found == {"s": 315, "t": 311, "u": 312}


def test_two_planned_on_one_number_do_not_both_keep_it() -> None:
    """The first keeps it, the other gets a vacant one."""
    planned = {name: PlannedSource(name=name, number=315) for name in ("s", "t")}
    device = replace(DEVICE, sources=planned)
    assert auto_numbers(PLAN, device, _asked(sources=_autos("s", "t"))) == {"s": 315, "t": 311}


def test_a_number_named_elsewhere_is_not_kept() -> None:
    """The playbook gives the planned number of s to t."""
    device = replace(DEVICE, sources={"s": PlannedSource(name="s", number=311)})
    sources = {**_autos("s"), "t": AskedSource(name="t", number=311)}
    assert auto_numbers(PLAN, device, _asked(sources=sources)) == {"s": 312}


def test_who_gets_none_is_missing() -> None:
    """Nine numbers for ten sources."""
    found = auto_numbers(PLAN, DEVICE, _asked(sources=_autos(*[f"s{n}" for n in range(10)])))
    assert len(found) == 9
    assert "s9" not in found


def test_auto_gives_nothing_that_is_to_be_avoided() -> None:
    """A run that is taken back avoids what anybody holds; what the plan has for it, too."""
    asked = _asked(sources=_autos("x", "y"), avoids=frozenset({311, 312}))
    assert auto_numbers(PLAN, DEVICE, asked) == {"x": 313, "y": 314}
    asked = replace(asked, avoids=frozenset({311, NUMBERING.group(313)}))
    assert auto_numbers(PLAN, DEVICE, asked) == {"x": 312, "y": 314}
