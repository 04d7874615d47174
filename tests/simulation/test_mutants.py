"""Each wrong done to the tool is seen, with few seeds."""

import pytest

from orchestrator.running.steps.hand import Hand
from tests.simulation.mutants import MUTANTS, Mutant, hunt, instead, main

SEEDS = 60


@pytest.mark.parametrize("name", MUTANTS)
def test_a_mutant_is_caught(name: str) -> None:
    """The simulation says what is wrong, and with which seed it saw it."""
    caught = hunt(name, SEEDS)
    assert caught.seed is not None
    assert caught.what


def test_a_mutant_that_does_not_fit_the_code_is_no_catch(monkeypatch: pytest.MonkeyPatch) -> None:
    """It would raise at once, and nobody would see that it shows nothing any more."""
    wrong = Mutant("made wrongly", (instead(Hand, "_events", lambda: ()),))
    monkeypatch.setitem(MUTANTS, "made wrongly", wrong)
    with pytest.raises(ValueError, match="made wrongly"):
        hunt("made wrongly", SEEDS)


def test_every_mutant_has_a_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """And one that nothing catches is told, and fails the command."""
    harmless = MUTANTS["order ignored"].__class__("nothing wrong", ())
    monkeypatch.setattr("tests.simulation.mutants.MUTANTS", {"nothing wrong": harmless})
    assert main(["--seeds", "1", "--processes", "1"]) == 1
    said = capsys.readouterr().out
    assert "nothing wrong" in said
    assert "1 mutants, 1 not caught" in said
