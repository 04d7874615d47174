"""Hazards by grade, the gravest first."""

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.reports.hazards import hazard_lines


def hazard(name: str, grade: Grade, accepted: str | None = None) -> Hazard:
    """A hazard of a grade."""
    return Hazard(
        name=name,
        rule="H1",
        grade=grade,
        what=f"what {name}",
        where=("a", "b"),
        fix=f"mend {name}",
        accepted=accepted,
    )


def test_what_stops_comes_first_and_open_ones_before_accepted() -> None:
    """The order is by grade; within one, what still waits for a person comes first."""
    text = "\n".join(
        hazard_lines(
            [
                hazard("info", Grade.INFORMATION),
                hazard("said", Grade.NEEDS_NAME, "we know"),
                hazard("open", Grade.NEEDS_NAME),
                hazard("stop", Grade.STOPS),
            ]
        )
    )
    places = [text.index(f"{name} (H1)") for name in ("stop", "open", "said", "info")]
    assert places == sorted(places)
    assert "accepted: we know" in text


def test_each_hazard_says_what_where_and_the_fix() -> None:
    """Name, rule, what, where and fix are all there."""
    text = "\n".join(hazard_lines([hazard("stop", Grade.STOPS)]))
    for part in ("stop (H1)", "what stop", "where: a, b", "fix: mend stop", "nothing may be"):
        assert part in text


def test_no_hazard_gives_no_lines() -> None:
    """Nothing to say gives nothing."""
    assert hazard_lines([]) == []
