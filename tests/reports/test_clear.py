from orchestrator.reports.clear import text


def test_nothing_is_said_of_nobody() -> None:
    """Where every sign-in is covered there is nothing to warn of."""
    assert text([]) == ""


def test_devices_are_named_as_far_as_anybody_reads() -> None:
    """The first few by name, the rest by count."""
    said = " ".join(text([f"unit-{index}" for index in range(9)]).split())
    assert "unit-5 and 3 more goes over plain HTTP" in said
    assert "unit-6" not in said
