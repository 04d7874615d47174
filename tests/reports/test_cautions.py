"""The cautions say what they have to."""

from orchestrator.reports import cautions


def test_hearing_comes_first_and_names_headphones_and_monitors() -> None:
    """What can hurt people comes first. Common practice, no source."""
    assert cautions.CAUTIONS[0] is cautions.HEARING
    assert "Headphones off" in cautions.HEARING.text
    assert "monitors down" in cautions.HEARING.text


def test_alert_chains_need_the_licensee_and_local_rules_decide() -> None:
    """The tool claims no protection beyond what the plan marks."""
    assert "licensee's written approval" in cautions.ALERT.text
    assert "Local rules" in cautions.ALERT.text
    assert "only what the plan marks" in cautions.ALERT.text


def test_each_caution_is_about_something_else() -> None:
    """No caution is there twice or empty."""
    assert len({caution.about for caution in cautions.CAUTIONS}) == len(cautions.CAUTIONS)
    assert all(caution.text.endswith(".") for caution in cautions.CAUTIONS)
