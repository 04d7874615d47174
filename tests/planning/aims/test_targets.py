from dataclasses import replace

from orchestrator.facility.edit import SetSource, edited
from orchestrator.facility.found import DeviceState, Found, InterfaceState, SourceState
from orchestrator.facility.plan import PlannedSource
from orchestrator.facility.wanted import AskedSource, Auto, Unit
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.scene import Scene
from tests.planning.scenes import Box, address, group, scene


def _numbers(where: Scene, device: str) -> dict[str, tuple[int | None, bool]]:
    sources = targets(where).states[device].sources
    return {name: (source.number, source.enabled) for name, source in sources.items()}


def _names(where: Scene) -> list[str]:
    return [hazard.name for hazard in targets(where).hazards]


def _joiner(unit: Unit = Unit.FRESH, **sources: tuple[int | None, bool]) -> Box:
    return Box(50, dict(sources), at="127.0.2.50", to=address(50), unit=unit)


def test_what_nobody_asks_for_stays_as_found() -> None:
    """A device without playbook keeps its very state; one with an empty wish an equal one."""
    where = scene(
        {
            "a": Box(31, {"s": (311, True)}),
            "b": Box(32, {"s": (321, True)}, wants={"s": (None, None)}),
        }
    )
    states = targets(where).states
    assert states["a"] is where.states["a"]
    assert states["b"] == where.states["b"]


def test_a_number_brings_the_group_of_the_plans_rule() -> None:
    """Number 312 streams to the 312th address of the group range."""
    where = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (312, None)})})
    assert targets(where).states["a"].sources["s"].groups == (group(312),)


def test_groups_asked_for_win_over_the_rule() -> None:
    """A playbook's own groups stand, whatever the number."""
    where = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (312, None)})})
    wish = replace(where.asked["a"].sources["s"], groups=("239.194.9.9:5004",))
    asked = {"a": replace(where.asked["a"], sources={"s": wish})}
    source = targets(replace(where, asked=asked)).states["a"].sources["s"]
    assert (source.number, source.groups) == (312, ("239.194.9.9:5004",))


def test_a_number_beyond_the_group_range_has_no_group() -> None:
    """The rule gives none, so none is wanted."""
    where = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (70_000, None)})})
    assert targets(where).states["a"].sources["s"].groups == (None,)


def test_unassigned_is_no_number_and_no_group() -> None:
    """The source is to hold nothing on any leg."""
    where = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (Auto.UNASSIGNED, False)})})
    source = targets(where).states["a"].sources["s"]
    assert (source.number, source.groups, source.enabled) == (None, (None,), False)


def test_leftovers_of_a_fresh_unit_go_off_into_its_own_block() -> None:
    """What the playbook does not name is switched off and numbered from the block's start."""
    box = _joiner(s=(1, True), t=(2, True), u=(None, True))
    box.wants["s"] = (502, True)
    where = scene({"new": box})
    assert _numbers(where, "new") == {"s": (502, True), "t": (501, False), "u": (None, False)}
    assert _names(where) == []


def test_leftovers_of_a_reused_unit_that_lie_right_stay() -> None:
    """A leftover already in the own block keeps its number; two on one number do not."""
    where = scene({"new": _joiner(Unit.REUSED, s=(507, True), t=(507, True), u=(9, False))})
    assert _numbers(where, "new") == {"s": (507, False), "t": (501, False), "u": (502, False)}


def test_leftovers_do_not_take_what_the_playbook_gives_out() -> None:
    """501 is asked for another source, so the leftover that holds it moves."""
    box = _joiner(Unit.REUSED, s=(1, True), t=(501, True))
    box.wants["s"] = (501, True)
    assert _numbers(scene({"new": box}), "new") == {"s": (501, True), "t": (502, False)}


def test_a_leftover_without_a_number_left_is_a_hazard() -> None:
    """Ten sources, nine numbers in the block: the last one is named."""
    box = _joiner()
    box.sources = {f"s{n}": (n + 1, True) for n in range(10)}
    where = scene({"new": box})
    (hazard,) = targets(where).hazards
    assert hazard.name == "no-number:new/s9"
    assert hazard.blocks


def test_auto_takes_the_next_vacant_numbers_of_the_own_block() -> None:
    """Numbers asked for elsewhere in the playbook are passed over."""
    box = Box(31, {"s": (1, True), "t": (2, True), "u": (3, True)})
    box.wants = {"s": (Auto.AUTO, None), "t": (311, None), "u": (Auto.AUTO, None)}
    found = _numbers(scene({"a": box}), "a")
    assert found == {"s": (312, True), "t": (311, True), "u": (313, True)}


def test_auto_is_the_same_after_adoption() -> None:
    """The plan now says what the run made true; the same playbook asks for the same numbers."""
    box = Box(31, {"s": (1, True), "t": (2, True)})
    box.wants = {"t": (Auto.AUTO, None), "s": (Auto.AUTO, None)}
    where = scene({"a": box})
    first = _numbers(where, "a")
    edits = [SetSource(device="a", source=n, number=v) for n, (v, _) in first.items()]
    adopted = replace(where, plan=edited(where.plan, edits))
    assert _numbers(adopted, "a") == first
    fewer = replace(where.asked["a"], sources={"s": AskedSource(name="s", number=Auto.AUTO)})
    assert _numbers(replace(adopted, asked={"a": fewer}), "a")["s"] == first["s"]


def test_auto_without_a_vacant_number_is_a_hazard() -> None:
    """Nine numbers in the block, ten sources: the tenth is named, and keeps its number."""
    box = Box(31, {f"s{n}": (n + 1, True) for n in range(10)})
    box.wants = dict.fromkeys(box.sources, (Auto.AUTO, None))
    where = scene({"a": box})
    assert _names(where) == ["no-number:a/s9"]
    assert _numbers(where, "a")["s9"] == (10, True)


def test_a_second_block_holds_the_rest() -> None:
    """Blocks after the first are used whole."""
    box = Box(31, {f"s{n}": (n + 1, True) for n in range(10)}, blocks=(31, 33))
    box.wants = dict.fromkeys(box.sources, (Auto.AUTO, None))
    where = scene({"a": box})
    assert _names(where) == []
    assert _numbers(where, "a")["s9"] == (330, True)


def test_a_new_address_brings_prefix_and_gateway_of_its_network() -> None:
    """The network's own, not those of the bench."""
    where = scene({"new": _joiner()})
    assert targets(where).states["new"].interfaces["main"] == InterfaceState(
        address=address(50), prefix=24, gateway="127.44.3.254"
    )


def test_an_exact_address_is_taken_as_it_stands() -> None:
    """Back to the bench with the prefix and gateway that it had there, whatever the plan says."""
    where = scene({"a": Box(31, exact={"main": ("127.0.2.50", 29, "127.0.2.49")})})
    asked = replace(where.asked["a"], addresses={"main": address(40)})
    for one in (where, replace(where, asked={"a": asked})):
        assert targets(one).states["a"].interfaces["main"] == InterfaceState(
            address="127.0.2.50", prefix=29, gateway="127.0.2.49"
        )


def test_an_address_that_is_there_already_changes_nothing() -> None:
    """Not even a prefix or gateway that the plan would give it."""
    where = scene({"a": Box(31, to=address(31))})
    assert targets(where).states["a"] == where.states["a"]


def test_the_only_interface_may_go_by_any_name() -> None:
    """A device with one interface is readdressed on it; one with two must be told which."""
    where = scene({"a": Box(31, to=address(40))})
    asked = replace(where.asked["a"], addresses={"red": address(40)})
    where = replace(where, asked={"a": asked})
    assert targets(where).states["a"].interfaces["main"].address == address(40)
    state = replace(
        where.states["a"],
        interfaces={
            "main": InterfaceState(address=address(31), prefix=24),
            "blue": InterfaceState(address="127.0.2.9", prefix=24),
        },
    )
    two = replace(where, found=replace(where.found, devices={"a": _at(state)}))
    assert _names(two) == ["no-interface:a/red"]


def _at(state: DeviceState) -> Found:
    return Found(at=address(31), state=state, response_s=0.1)


def test_names_that_the_device_has_not_are_hazards() -> None:
    """A source and a setting that were not found stop the change, and say what there is."""
    box = Box(31, {"s": (311, True)}, wants={"ghost": (312, None)}, set_to={"domain": 1})
    where = scene({"a": box})
    assert sorted(_names(where)) == ["no-setting:a/domain", "no-source:a/ghost"]
    assert "it has s" in targets(where).hazards[0].what


def test_a_setting_is_wanted() -> None:
    """The playbook's value stands in the wanted state."""
    where = scene({"a": Box(31, settings={"domain": 0, "rate": 48}, set_to={"domain": 5})})
    assert targets(where).states["a"].settings == {"domain": 5, "rate": 48}


def test_a_device_that_did_not_answer_is_a_hazard() -> None:
    """Its state is not known, and the hazard says why."""
    where = scene({"a": Box(31, absent=True, wants={"s": (312, None)})})
    (hazard,) = targets(where).hazards
    assert hazard.name == "unsurveyed:a"
    assert "nothing answered" in hazard.what
    gone = replace(where, found=replace(where.found, devices={}))
    assert "it was not surveyed" in targets(gone).hazards[0].what


def test_a_device_that_the_plan_has_not_is_passed_over() -> None:
    """The documents' own check says so; here it is nobody's state."""
    where = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (312, None)})})
    stray = replace(where, asked={"stray": where.asked["a"]})
    assert targets(stray).states == where.states
    assert _names(stray) == []


def test_the_plans_other_numbers_are_not_vacant() -> None:
    """A source that the playbook does not name owns its planned number."""
    box = Box(31, {"s": (1, True), "t": (2, True)}, wants={"s": (Auto.AUTO, None)})
    box.planned = {"t": PlannedSource(name="t", number=311)}
    assert _numbers(scene({"a": box}), "a")["s"] == (312, True)


def _by_rule(
    number: int | Auto | None, groups: tuple[str, ...] | None
) -> tuple[SourceState, list[str]]:
    """What is wanted of a source of a device that keeps groups only, and what stops it."""
    where = scene({"a": Box(31, {"s": (311, True)}, wants={"s": (None, None)})})
    wish = AskedSource(name="s", number=number, groups=groups)
    asked = {"a": replace(where.asked["a"], sources={"s": wish})}
    traits = {"a": replace(where.traits["a"], numbers_by_rule=True)}
    planned = targets(replace(where, asked=asked, traits=traits))
    return planned.states["a"].sources["s"], [hazard.name for hazard in planned.hazards]


def test_where_a_device_keeps_groups_only_the_number_goes_with_them() -> None:
    """A group asked for brings its number, or none where it stands for none."""
    source, stops = _by_rule(None, (group(315),))
    assert (source.number, source.groups, stops) == (315, (group(315),), [])
    source, stops = _by_rule(None, ("239.1.2.3:5004",))
    assert (source.number, source.groups, stops) == (None, ("239.1.2.3:5004",), [])
    source, stops = _by_rule(315, None)
    assert (source.number, source.groups, stops) == (315, (group(315),), [])


def test_where_a_device_keeps_groups_only_a_number_with_another_group_stops() -> None:
    """It could never be read back; and there is no way to hold no group at all."""
    assert _by_rule(315, ("239.1.2.3:5004",))[1] == ["number-group:a/s"]
    assert _by_rule(Auto.UNASSIGNED, None)[1] == ["no-group:a/s"]
    assert _by_rule(70_000, None)[1] == ["no-group:a/s"]
