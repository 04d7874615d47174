"""The options for the terms of a run, over sockets."""

import re
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from mocks.faults import Fault, Kind
from tests.cli.stage import APPLY, Stage

TALKS = "talks-engine"


def zoned(stage: Stage, name: str = "Atlantic/Faroe") -> None:
    """Give the stage's plan a time zone."""
    plan = stage.folder / "plan.yaml"
    text = re.sub(r"^time_zone: .*\n", "", plan.read_text(encoding="utf-8"), flags=re.MULTILINE)
    plan.write_text(f"time_zone: {name}\n{text}", encoding="utf-8")


def around_now(zone: str = "Atlantic/Faroe") -> str:
    """A window that has been open for an hour, and is for six more."""
    now = datetime.now(ZoneInfo(zone))
    ends = (now + timedelta(hours=hours) for hours in (-1, 6))
    return "/".join(end.astimezone(ZoneInfo(zone)).isoformat(timespec="minutes") for end in ends)


def test_a_dry_run_says_the_last_times(small: Stage) -> None:
    """To start each phase, and to turn back; in the facility's zone."""
    zoned(small)
    window = ("--window", around_now(), "--soak", "2", "--after-failure", "hold-room")
    shown = small.run("dry-run", *window)
    assert re.search(r"Phase 1 takes .* at the most: start it by ([-\d]+ )?\d\d:\d\d", shown.said)
    assert "Atlantic/Faroe" in shown.said
    assert "its whole room waits, the rest is finished (hold-room)" in shown.said
    terms = small.run("dry-run", *window, "--json").json["terms"]
    assert terms["soak_seconds"] == 120
    assert terms["window"]["zone"] == "Atlantic/Faroe"
    assert len(terms["phases"]) == 2


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--window", "02:00-04:00"), "needs the facility's time zone"),
        (("--margin", "5"), "there is none"),
        (("--after-failure", "panic"), "hold-device"),
    ],
)
def test_terms_that_are_none(options: tuple[str, ...], said: str, small: Stage) -> None:
    """Each is a wrong call, and nothing is asked of a device."""
    plan = small.folder / "plan.yaml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(re.sub(r"^time_zone: .*\n", "", text, flags=re.MULTILINE), encoding="utf-8")
    ended = small.run("apply", *options)
    assert ended.status == 2
    assert said in ended.err
    assert small.world.log == ()


def test_a_window_that_is_too_short_stops_it(small: Stage) -> None:
    """Nothing is written where not even the first phase could be taken back in it."""
    zoned(small, "UTC")
    ended = small.run(*APPLY, "--window", around_now("UTC"), "--margin", "360")
    assert ended.status == 1
    assert "window:1" in ended.said
    assert small.writes() == 0


def test_a_room_is_held(small: Stage) -> None:
    """A step that is refused for good: its room waits, and the run says so; resume finishes."""
    small.world.add_fault(TALKS, Fault(Kind.REFUSE, method="PATCH", always=True))
    ended = small.run(*APPLY, "--after-failure", "hold-all")
    assert ended.status == 1
    assert "nothing more was begun anywhere" in ended.said
    small.world.clear_faults(TALKS)
    assert small.run("resume", *APPLY[2:]).status == 0
    assert small.referee.verdict().broken == ()


def test_terms_given_at_a_resume_stay_with_the_run(small: Stage) -> None:
    """The next resume goes on them without being told, and the run says so."""
    small.world.add_fault(TALKS, Fault(Kind.REFUSE, method="PATCH", always=True))
    assert small.run(*APPLY).status == 1
    paused = small.run("resume", *APPLY[2:], "--after-failure", "hold-all", "--soak", "0.01")
    assert "nothing more was begun anywhere" in paused.said
    again = small.run("resume", *APPLY[2:])
    assert "nothing more was begun anywhere" in again.said
    run = small.last()
    terms = small.run("runs", run, "--json").json["terms"]
    assert (terms["after_failure"], terms["soak_seconds"]) == ("hold-all", 0.6)
    assert small.run("runs", run).said.count("on these terms from") == 1


def test_a_work_order_brings_its_own_terms(small: Stage, tmp_path: Path) -> None:
    """They were approved with it; others are refused; they stand in the run's record."""
    order = tmp_path / "order.json"
    assert small.run("dry-run", "--out", str(order), "--after-failure", "hold-room").status == 1
    assert small.run(*APPLY, str(order), "--soak", "1").status == 2
    assert small.writes() == 0
    assert small.run(*APPLY, str(order)).status == 0
    shown = small.run("runs", small.last(), "--json").json
    assert shown["terms"]["after_failure"] == "hold-room"


def test_a_paused_run_says_the_last_time_to_turn_back(small: Stage) -> None:
    """For what was begun of it, in the facility's zone; a run that is over says none."""
    zoned(small)
    small.world.add_fault(TALKS, Fault(Kind.REFUSE, method="PATCH", always=True))
    ended = small.run(*APPLY, "--window", around_now())
    assert re.search(r"The last time to turn back is [^;]*\d\d:\d\d; after it", ended.said)
    small.world.clear_faults(TALKS)
    assert "turn back" not in small.run("resume", *APPLY[2:]).out.rpartition("Finished")[2]
