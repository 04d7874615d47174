"""What is vacant, told."""

from orchestrator.facility.numbering import NumberRange
from orchestrator.planning.vacant import Own, Place
from orchestrator.reports.vacant import as_json, text

PLACES = (
    Place("media", "127.44.3.32", "127.44.3.33", 2, NumberRange(320, 339)),
    Place("control", "127.45.3.9", "127.45.3.9", 1, None),
)
OWN = (
    Own("engine", "media", (313, 314, 315, 317, 319, 320)),
    Own("full", "media", ()),
)


def test_runs_of_numbers_are_told_as_runs() -> None:
    """Both ends of a run, a single one alone, none as none; an address alone as itself."""
    told = text("Ours", PLACES, OWN)
    assert "313-315, 317, 319-320" in told
    assert [line.split()[-1] for line in told.splitlines() if line.startswith("  full")] == ["none"]
    assert "127.44.3.32 to 127.44.3.33" in told
    assert "127.45.3.9 to" not in told
    assert "not numbered" in told


def test_no_place() -> None:
    """Said in words, for one host and for several in a row."""
    assert "None." in text("Ours", (), ())
    assert "No 4 hosts in a row are vacant." in text("Ours", (), (), 4)


def test_json() -> None:
    """Every value as it is; no numbers where the network gives none."""
    document = as_json("Ours", PLACES, OWN)
    assert document["schema"] == "cutsheet/vacant/1"
    assert document["places"][0]["numbers"] == {"first": 320, "last": 339}
    assert "numbers" not in document["places"][1]
    assert document["own"][1] == {"device": "full", "network": "media", "numbers": []}
