"""Meeting units on a bench."""

import asyncio
from pathlib import Path

from orchestrator.actions.bench.meet import Met, meet
from orchestrator.planning.bench import bench_units
from tests.actions.desks import Agreeing, desk_of
from tests.cli.benches import FACTORY, FRESH, NODE, benched
from tests.cli.stage import Stage


def _meet(stage: Stage, *refused: str, wait_s: float = 0.0) -> tuple[Met | str, list[str]]:
    desk = desk_of(stage)
    told: list[str] = []
    units = bench_units(desk.plan, desk.asked)
    found = asyncio.run(meet(desk, units, Agreeing(*refused), told.extend, wait_s))
    return found, told


def _only(stage: Stage, name: str) -> None:
    for one in (FRESH, NODE):
        stage.world.pull_cable(one)
    if name:
        stage.world.plug_in(name)
    stage.running.settle()


def test_a_unit_is_known_by_its_serial(tmp_path: Path) -> None:
    """The one meant; or another that is to come, which is taken first then."""
    with benched(tmp_path) as stage:
        _only(stage, FRESH)
        met, _ = _meet(stage)
        assert isinstance(met, Met)
        assert (met.unit.name, met.found.at) == (FRESH, FACTORY)
        _only(stage, NODE)
        met, told = _meet(stage)
        assert isinstance(met, Met)
        assert met.unit.name == NODE
        assert f"{NODE} is taken first" in " ".join(told)


def test_a_stranger_is_left_alone(tmp_path: Path) -> None:
    """A serial of none of them: said, with those that are meant; nothing is written."""
    with benched(tmp_path) as stage:
        _only(stage, FRESH)
        plan = stage.folder / "plan.yaml"
        text = plan.read_text(encoding="utf-8").replace("CV-20931", "CV-99999")
        plan.write_text(text, encoding="utf-8")
        met, _ = _meet(stage)
        assert isinstance(met, str)
        assert "serial CV-20931 answers at 127.0.2.50" in met
        assert "CV-99999" in met
        assert stage.writes() == 0


def test_a_unit_without_a_serial_in_the_plan_is_asked_about(tmp_path: Path) -> None:
    """A person says that it is the one, or it is not."""
    with benched(tmp_path) as stage:
        _only(stage, FRESH)
        plan = stage.folder / "plan.yaml"
        text = plan.read_text(encoding="utf-8").replace("    serial: CV-20931\n", "")
        plan.write_text(text, encoding="utf-8")
        met, _ = _meet(stage)
        assert isinstance(met, Met)
        met, _ = _meet(stage, f"serial:{FRESH}")
        assert isinstance(met, str)


def test_nobody_there_and_a_no(tmp_path: Path) -> None:
    """Nobody answers within the time; or a person says that it is not there."""
    with benched(tmp_path) as stage:
        _only(stage, "")
        met, told = _meet(stage, wait_s=0.1)
        assert isinstance(met, str)
        assert "nobody answers at 127.0.2.50" in met
        assert "Looking again" in " ".join(told)
        met, _ = _meet(stage, f"bench:{FRESH}")
        assert isinstance(met, str)
        assert f"bench:{FRESH}: no" in met
