"""The terms of a run in words."""

import pytest

from orchestrator.reports.terms import AFTER_FAILURE, terms_json, terms_lines, turn_back_words
from orchestrator.running.terms import AfterFailure, Terms
from orchestrator.running.window import Window

WINDOW = Window(
    opens="2026-03-01T02:00:00+00:00", closes="2026-03-01T04:00:00+00:00", zone="Europe/Dublin"
)
TERMS = Terms(after_failure=AfterFailure.HOLD_ROOM, soak_s=600, window=WINDOW)
LENGTHS = (900.0, 600.0)


@pytest.mark.parametrize("policy", AfterFailure)
def test_each_policy_has_words(policy: AfterFailure) -> None:
    """And is told by its name, too."""
    said = " ".join(terms_lines(Terms(after_failure=policy), ()))
    assert AFTER_FAILURE[policy] in " ".join(said.split())
    assert f"({policy})" in said
    assert "No maintenance window" in said


def test_the_last_times() -> None:
    """For each phase: the last to start, and the last to turn back; the margin is said."""
    said = " ".join(" ".join(terms_lines(TERMS, LENGTHS)).split())
    assert "it is watched for 10 min" in said
    assert "02:00 to 04:00 Europe/Dublin, 2 h long; 15 min stay free" in said
    assert "Phase 1 takes 15 min at the most: start it by 03:15" in said
    assert "Phase 2 takes 10 min at the most: start it by 03:10" in said
    assert "the last time to turn back is 03:20" in said


def test_for_programs() -> None:
    """As instants with their offset."""
    document = terms_json(TERMS, LENGTHS)
    assert document["after_failure"] == "hold-room"
    assert document["phases"][1]["turn_back_after"] == "2026-03-01T03:20:00+00:00"
    assert terms_json(Terms(), LENGTHS)["window"] is None


def test_the_last_time_to_turn_back_of_a_run_under_way() -> None:
    """After two phases were begun; none without a window, or before anything was begun."""
    assert turn_back_words(TERMS, LENGTHS, 2) == "03:20"
    assert turn_back_words(TERMS, LENGTHS, 0) is None
    assert turn_back_words(Terms(), LENGTHS, 2) is None
