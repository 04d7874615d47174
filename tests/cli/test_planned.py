"""A planned change on the screen: what it is joined of is tried beside the terms."""

from tests.cli.stage import Stage


def test_the_terms_come_last(small: Stage) -> None:
    """After the digest; where there is nothing to do there are none."""
    shown = small.run("dry-run")
    assert shown.out.index("Digest of the sequence") < shown.out.index("\nTerms\n")
    assert "terms" in small.run("dry-run", "--json").json
