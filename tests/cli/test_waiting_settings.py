"""Settings that wait for a save or a restart, asked for in a run, over sockets."""

from pathlib import Path

import pytest
import yaml

from mocks.faults import Fault, Kind
from mocks.makes.marram import HOLD, RATE
from mocks.referee import Referee
from tests.cli.stage import ANSWERS, Stage
from tests.cli.test_every_make import MAKES, credentials, staged

MARRAM = next(make for make in MAKES if make.make == "marram")
SECRET = credentials(MARRAM)


def wanting(stage: Stage, **device: object) -> None:
    """Have a playbook that wants this of the sender."""
    playbook = {"playbook": "Another rate", "devices": {"sender": device}}
    path = stage.folder / "playbooks" / "move.yaml"
    path.write_text(yaml.safe_dump(playbook), encoding="utf-8")


def kept(stage: Stage, name: str) -> object:
    """What the sender runs on, of what only its make has."""
    return stage.now("sender").kept.get(name)


def test_a_setting_that_shows_after_a_restart(tmp_path: Path) -> None:
    """Sources off and saved, set, saved, restarted, read back; then all else, then on again.

    The device itself refuses a restart while a source is on, and brings back what was not saved.
    """
    with staged(tmp_path / "facility", MARRAM) as stage:
        referee = Referee(stage.world)
        sources = {"out-1": {"number": 313, "label": "NEW-1", "enabled": True}}
        wanting(stage, settings={"sample_rate": 96, "meter_hold": 3}, sources=sources)
        planned = stage.run("dry-run", "--json", **SECRET).json
        own = [each["step"] for each in planned["sequence"] if each["device"] == "sender"]
        assert own[:3] == ["disable", "save", "set"]
        rate = next(each for each in planned["sequence"] if each.get("wanted") == 96)
        assert rate["estimate_s"] >= 0.2, "it is away for as long as it settles"
        applied = stage.run("apply", "--yes", *ANSWERS, **SECRET)
        assert applied.status == 0, applied.said
        assert (kept(stage, RATE), kept(stage, HOLD)) == (96000, 3)
        assert stage.now("sender").sources["1"].enabled
        assert stage.now("sender").sources["1"].number == 313
        assert [one.path for one in stage.world.log if one.path == "/restart"] == ["/restart"]
        assert stage.run("dry-run", **SECRET).status == 0
        assert stage.run("audit", **SECRET).status == 0

        referee.new_run()
        undone = stage.run("undo", stage.last(), "--yes", *ANSWERS, **SECRET)
        assert undone.status == 0, undone.said
        assert (kept(stage, RATE), kept(stage, HOLD)) == (48000, 0)
        assert referee.verdict().clean, referee.verdict()


@pytest.mark.parametrize(
    "fault",
    [
        Fault(Kind.DROP_REQUEST, path="/restart"),
        Fault(Kind.DROP_ANSWER, path="/restart"),
        Fault(Kind.ERROR, path="/restart"),
        Fault(Kind.BUSY, path="/restart", status=423),
        Fault(Kind.DROP_ANSWER, path="/keep", method="POST", nth=2),
    ],
    ids=lambda fault: f"{fault.kind} {fault.path}",
)
def test_what_follows_the_write_is_lost(fault: Fault, tmp_path: Path) -> None:
    """The write was taken and the rest perhaps not: it is looked for, and sent again."""
    with staged(tmp_path / "facility", MARRAM) as stage:
        wanting(stage, settings={"sample_rate": 96})
        stage.world.add_fault("sender", fault)
        applied = stage.run("apply", "--yes", *ANSWERS, **SECRET)
        assert applied.status == 0, applied.said
        assert kept(stage, RATE) == 96000
        assert stage.now("sender").sources["1"].enabled


def test_a_restart_that_is_refused_for_good(tmp_path: Path) -> None:
    """The run pauses and says that the rate may yet come; resume goes on from there."""
    with staged(tmp_path / "facility", MARRAM) as stage:
        wanting(stage, settings={"sample_rate": 96})
        fault = Fault(Kind.ERROR, path="/restart", status=501, always=True)
        stage.world.add_fault("sender", fault)
        applied = stage.run("apply", "--yes", *ANSWERS, **SECRET)
        assert applied.status == 1, applied.said
        assert "in doubt" in applied.said.lower()
        assert (kept(stage, RATE), stage.now("sender").sources["1"].enabled) == (None, False)
        stage.world.clear_faults("sender")
        resumed = stage.run("resume", *ANSWERS, **SECRET)
        assert resumed.status == 0, resumed.said
        assert (kept(stage, RATE), stage.now("sender").sources["1"].enabled) == (96000, True)
