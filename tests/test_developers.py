"""The contributor's guide says what the code says."""

from pathlib import Path

from orchestrator.running.life import table_text

GUIDE = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_life_of_a_step_is_printed_as_it_is() -> None:
    """The table in the guide is the table in the code."""
    printed = GUIDE.split("<!-- life:begin -->")[1].split("<!-- life:end -->")[0]
    assert printed.strip() == table_text().strip()


def test_every_folder_that_the_map_names_is_there() -> None:
    """The map of the house names only rooms that exist."""
    top = Path(__file__).parent.parent
    rows = [line for line in GUIDE.splitlines() if line.startswith("| `")]
    named = [row.split("`")[1] for row in rows if "/" in row.split("`")[1]]
    assert named
    assert [name for name in named if not (top / name).exists()] == []
