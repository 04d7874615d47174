"""Whose a value is: the run's, or another hand's; and what a playbook means by a number."""

from dataclasses import replace
from random import Random

from orchestrator.facility.plan import ListensTo
from orchestrator.facility.step import Step, StepKind
from tests.planning.scenes import Box, scene
from tests.simulation.scene import planned, world_of
from tests.simulation.trouble import CALM
from tests.simulation.units import done
from tests.simulation.world import OTHER_HAND, World

ON = Step(
    id="s1",
    kind=StepKind.ENABLE,
    device="a",
    source="s",
    at="127.44.3.31",
    as_found=False,
    wanted=True,
)
THING = ("enabled", "s")


def switched_on() -> World:
    """A facility in which another hand has switched a/s on, which the playbook wants, too."""
    job = planned(scene({"a": Box(31, {"s": (311, False)}, wants={"s": (None, True)})}))
    assert job is not None
    world = world_of(job, Random(1), CALM)
    unit = world.units["a"]
    world._before_drift["a", THING] = unit.memory.running, None
    unit.strays[THING] = OTHER_HAND
    on = done(unit.memory.running, ON)
    unit.memory = replace(unit.memory, running=on, saved=on)
    return world


def test_what_the_run_found_done_and_gives_up_is_another_hands_again() -> None:
    """So whoever puts things right has to put that back, too, or the run can't go on."""
    world = switched_on()
    strays = world.units["a"].strays
    world.taken_over(ON)
    assert THING not in strays
    world.given_up(ON)
    assert strays == {THING: OTHER_HAND}


def test_what_has_changed_since_it_was_read_is_not_taken_over() -> None:
    """It takes time to put a proof on disk, in which the device may lose its power."""
    world = switched_on()
    unit = world.units["a"]
    off = done(unit.memory.running, replace(ON, wanted=False))
    unit.memory = replace(unit.memory, running=off)
    world.taken_over(ON)
    assert unit.strays == {THING: OTHER_HAND}


def test_what_a_survey_has_read_is_nobodys_any_more() -> None:
    """The way back is planned from there, whoever had set it."""
    world = switched_on()
    world.taken_over(ON)
    world.take_as_known()
    world.given_up(ON)
    assert THING not in world.units["a"].strays


def test_what_is_switched_off_as_the_run_asks_is_as_the_run_knows_it() -> None:
    """Running and saved, so that the next power cycle does not bring it back on."""
    world = switched_on()
    world.write((ON,), ON.at)
    world.reboot("a", 3.0)
    world.switch_off("a", "s")
    memory = world.units["a"].memory
    assert not memory.running.sources["s"].enabled
    assert not memory.saved.sources["s"].enabled
    assert not world.units["a"].strays


def test_what_the_run_wrote_itself_stays_its_own() -> None:
    """Whoever had set it before."""
    world = switched_on()
    world.taken_over(ON)
    world.write((ON,), ON.at)
    world.given_up(ON)
    assert THING not in world.units["a"].strays


def test_a_number_means_who_holds_it_in_the_end_though_it_is_switched_off() -> None:
    """Until it is, whoever is pointed there may hear it."""
    boxes = {
        "a": Box(31, {"s": (311, True)}, wants={"s": (None, False)}),
        "b": Box(32, hears={"in": 321}, listens={"in": ListensTo(number=311)}),
    }
    job = planned(scene(boxes))
    assert job is not None
    assert world_of(job, Random(1), CALM).site.meant["b/in"] == {"a/s"}
