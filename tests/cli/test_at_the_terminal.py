"""Whole jobs at a terminal, as the night shift does them: questions, answers, Ctrl-C."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from tests.cli.stage import PROGRAMMES, Stage
from tests.cli.terminal import at_terminal

SAFETY = ("who-is-on-air", "monitors-down", "alert-chain")
TWO_PHASES = ("--phase", "studio-south,news-booth", "--phase", "talks,rack")
RACK = "listener:rack-codec/output-2"


def nobody_accepts_beforehand(stage: Stage) -> None:
    """Take the playbook's acceptances out."""
    path = stage.folder / "playbooks" / PROGRAMMES
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("accepts:")], encoding="utf-8")


def test_a_change_from_question_to_question(small: Stage) -> None:
    """A hazard that needs a name, the change, three questions of safety; who and when is kept."""
    nobody_accepts_beforehand(small)
    with at_terminal(small, "apply") as terminal:
        terminal.answers(RACK)
        terminal.wait_for("Do these")
        terminal.types("y")
        for question in (*SAFETY, "go:1"):
            terminal.answers(question)
        assert terminal.ends() == 0, terminal.shown
    assert small.referee.verdict().broken == ()
    shown = small.run("runs", small.last())
    for question in (RACK, *SAFETY):
        assert f"{question}: go" in shown.said


def test_ctrl_c_ends_the_soak_time(small: Stage) -> None:
    """It is watched, it can be left at once, and resume asks anew and goes on."""
    accepted = [part for name in SAFETY for part in ("--accept", f"{name}=a test")]
    with at_terminal(small, "apply", "--yes", *accepted, "--soak", "30") as terminal:
        terminal.wait_for("Watched for 0.0 s of 30 min.")
        terminal.ctrl_c()
        terminal.wait_for("stopped by the operator")
        assert terminal.ends() == 1
    with at_terminal(small, "resume", "--soak", "0") as terminal:
        for question in ("who-is-on-air", "monitors-down", "go:1"):
            terminal.answers(question)
        assert terminal.ends() == 0, terminal.shown
    assert small.referee.verdict().broken == ()


def test_ctrl_c_while_the_window_is_not_open(small: Stage) -> None:
    """Nothing was asked of any device by then, and nothing is written."""
    opens = datetime.now(UTC) + timedelta(hours=2)
    ends = (opens, opens + timedelta(hours=3))
    zone = ZoneInfo("Atlantic/Faroe")
    window = "/".join(end.astimezone(zone).isoformat(timespec="minutes") for end in ends)
    with at_terminal(small, "apply", "--window", window) as terminal:
        terminal.wait_for("Nothing is asked or written until then. Ctrl-C ends it.")
        terminal.ctrl_c()
        assert terminal.ends() != 0
    assert small.world.log == ()
