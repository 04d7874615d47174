"""What a finished run made true, as edits that bring the plan up to it."""

from orchestrator.facility.edit import Edit, SetAddress, SetDestination, SetSerial, edited
from orchestrator.facility.plan import ListensTo, PlannedSource, Ref
from orchestrator.facility.wanted import Unit
from orchestrator.planning.scene import Scene
from orchestrator.running.outcome import edits
from tests.planning.scenes import Box, group, scene
from tests.running.runs import run


def made(before: Scene) -> tuple[Edit, ...]:
    """The edits after a whole run of ``before``."""
    record, events, _ = run(before)
    return edits(before.plan, record, events)


def box(host: int, number: int, **more: object) -> Box:
    """A device with one source, on, as the plan says."""
    planned = {"s": PlannedSource(name="s", number=number, label="", enabled=True)}
    return Box(host, {"s": (number, True)}, planned=planned, **more)  # type: ignore[arg-type]  # real fields


def test_numbers_and_listeners() -> None:
    """After a swap the plan has the new numbers; listeners still listen to their sources."""
    hears = {"in": ListensTo(source=Ref("a", "s"))}
    before = scene({
        "a": box(31, 311, wants={"s": (411, None)}),
        "b": box(41, 411, wants={"s": (311, None)}),
        "c": Box(71, {}, {"in": 311}, planned_hears=hears),
    })  # fmt: skip
    found = made(before)
    assert not [edit for edit in found if isinstance(edit, SetDestination)], "nothing to write"
    plan = edited(before.plan, found)
    assert plan.devices["a"].sources["s"].number == 411
    assert plan.devices["b"].sources["s"].number == 311
    assert plan.devices["a"].sources["s"].enabled is True


def test_what_the_run_did_not_touch_is_not_written() -> None:
    """The plan may know better: only what was written is edited, and only where it differs."""
    one = box(31, 311, wants={"s": (319, None)})
    one.sources["t"] = (312, True)
    one.planned["t"] = PlannedSource(name="t", number=313, label="OTHER", enabled=False)
    plan = edited(scene({"a": one}).plan, made(scene({"a": one})))
    assert plan.devices["a"].sources["t"] == one.planned["t"]
    done = box(31, 319)
    done.sources["s"] = (311, True)
    done.wants = {"s": (319, None)}
    assert made(scene({"a": done})) == ()


def test_a_move() -> None:
    """The interface has its new address; its network stays unsaid where it is the same."""
    found = made(scene({"a": box(31, 311, to="127.44.3.99")}))
    assert found == (SetAddress("a", "main", "127.44.3.99"),)


def test_a_unit_that_joined_is_written_whole() -> None:
    """Every source that it has, also those that the playbook did not name."""
    unit = Box(
        50,
        {"s": (1, True), "t": (2, True)},
        at="127.0.2.50",
        to="127.44.3.50",
        unit=Unit.FRESH,
        wants={"s": (501, True)},
    )
    before = scene({"new": unit})
    plan = edited(before.plan, made(before))
    sources = plan.devices["new"].sources
    assert (sources["s"].number, sources["s"].enabled) == (501, True)
    assert (sources["t"].number, sources["t"].enabled) == (502, False)
    assert plan.devices["new"].interfaces[0].address == "127.44.3.50"


def test_a_serial_that_the_plan_did_not_know() -> None:
    """The unit that was accepted by name is the one from now on."""
    one = box(31, 311, wants={"s": (319, None)}, serial=None)
    found = made(scene({"a": one}, accepted={"serial:a": "read from the label"}))
    assert SetSerial("a", "SN-a") in found


def test_pointed_at_a_source_elsewhere() -> None:
    """A pointer is written as the source that holds it, also on a device that was not touched."""
    before = scene({
        "a": box(31, 311),
        "c": Box(71, {}, {"in": None}, listens={"in": ListensTo(source=Ref("a", "s"))}),
    })  # fmt: skip
    assert made(before) == (SetDestination("c", "in", ListensTo(source=Ref("a", "s"))),)


def test_pointed_at_a_figure() -> None:
    """Where nobody holds it, the figure itself is written: a number, a group, or nothing."""
    wishes = {
        "n": ListensTo(number=777),
        "g": ListensTo(group=group(778)),
        "x": ListensTo(),
    }
    for name, wish in wishes.items():
        by = {"g": "group"}.get(name, "number")
        device = Box(71, {}, {"in": 399 if by == "number" else group(399)}, listens={"in": wish})
        if by == "group":
            device.by = type(device.by)("group")
        assert made(scene({"c": device})) == (SetDestination("c", "in", wish),)


def test_a_run_that_is_not_finished_is_written_as_far_as_it_is_proved() -> None:
    """Only proved steps count."""
    before = scene({"a": box(31, 311, wants={"s": (319, None)})})
    record, events, _ = run(before, 1)
    (edit,) = edits(before.plan, record, events)
    plan = edited(before.plan, [edit])
    assert plan.devices["a"].sources["s"].number == 311
    assert plan.devices["a"].sources["s"].enabled is False
