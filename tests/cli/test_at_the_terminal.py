"""Whole jobs at a terminal, as the night shift does them: questions, answers, Ctrl-C."""

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
        terminal.wait_for("Do these 32 steps on")
        terminal.types("y")
        for question in (*SAFETY, "go:1"):
            terminal.answers(question)
        assert terminal.ends() == 0, terminal.shown
    assert small.referee.verdict().broken == ()
    shown = small.run("runs", small.last())
    for question in (RACK, *SAFETY):
        assert f"{question}: go" in shown.said
