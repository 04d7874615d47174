from mocks.journal import Asked, without


def test_secrets_are_blanked() -> None:
    """A secret is blanked wherever it stands; no secret blanks nothing."""
    assert without("pw", "/x/pw?pw") == "/x/***?***"
    assert without("", "/x") == "/x"


def test_entries_are_plain() -> None:
    """An entry can be written to a file, and says whether it wrote."""
    asked = Asked(1.0, "x", "127.0.0.1", "PUT", "/lan", "{}", "200", ("delay",))
    assert asked.as_dict()["faults"] == ("delay",)
    assert asked.writes
    assert not Asked(1.0, "x", "127.0.0.1", "GET", "/lan", "", "200").writes
