"""What the ledger tells of a unit on a bench."""

from pathlib import Path

from orchestrator.actions.bench.ledger import past_of
from orchestrator.documents.folder import load_checked
from orchestrator.planning.bench import BenchUnit, bench_units
from orchestrator.planning.scene import merge
from tests.cli.benches import FRESH, NODE, Hands, benched
from tests.cli.test_bench import bench


def _units(folder: Path) -> dict[str, BenchUnit]:
    documents = load_checked(folder)
    return {unit.name: unit for unit in bench_units(documents.plan, merge(documents.playbooks))}


def test_a_unit_has_joined_when_its_run_has_finished(tmp_path: Path) -> None:
    """The run is named, and the serial that it saw; a unit without a run has no past."""
    with benched(tmp_path) as stage, Hands(stage, (FRESH,)).at_work():
        assert past_of(stage.folder, _units(stage.folder)[FRESH]).run is None
        assert bench(stage, "--unit", FRESH).status == 0
    past = past_of(stage.folder, _units(stage.folder)[FRESH])
    assert (past.run, past.joined, past.serial) == (stage.last(), True, "CV-20931")
    assert past_of(stage.folder, _units(stage.folder)[NODE]).run is None


def test_a_run_that_was_taken_back_counts_for_nothing(tmp_path: Path) -> None:
    """The unit stands on the bench again."""
    with benched(tmp_path) as stage:
        stage.world.pull_cable(NODE)
        assert bench(stage, "--unit", FRESH).status == 0
        done = stage.run("undo", stage.last(), "--yes", *_questions())
        assert done.status == 0, done.said
        assert past_of(stage.folder, _units(stage.folder)[FRESH]).run is None


def _questions() -> tuple[str, ...]:
    names = ("who-is-on-air", "monitors-down", "alert-chain")
    return tuple(part for name in names for part in ("--accept", f"{name}=a test"))
